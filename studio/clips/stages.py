"""Claim, lease, heartbeat, publish, fail, sweep: how long work is done exactly once.

All times are the database's own, so that a worker with a wrong clock can neither steal a
lease nor lose one. A claim raises ``attempt``, so a killed worker counts as an attempt.
"""

import secrets
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import TypeVar

from django.db import (
    DatabaseError,
    InterfaceError,
    OperationalError,
    connection,
    models,
    transaction,
)
from django.db.models import F, Q
from django.db.models.functions import Now

from studio.accounts import consent

from . import stopping
from .models import Clip, Leased, Stage

LEASE = timedelta(seconds=60)
HEARTBEAT_S = 10.0
STALE_WAIT = timedelta(seconds=30)  # a waiting stage older than this lost its message
MAX_ATTEMPTS = 3
PATIENCE_S = 120.0  # how long finished work waits for a database that is away
PAUSE_S = 1.0

T = TypeVar("T")
L = TypeVar("L", bound=Leased)


class LeaseLost(Exception):
    """Another worker has the stage now, or the clip was erased: drop the work."""


def patiently(action: Callable[[], T], patience_s: float = PATIENCE_S) -> T:
    """Do what needs the database, again and again until it is back; give what it gives.

    What is handed in must bear being done twice: the answer to the first time may be what was
    lost. A process that was told to end waits no longer.

    Raises
    ------
    OperationalError, InterfaceError
        When the database is still away after ``patience_s``.
    """
    until = time.monotonic() + patience_s
    while True:
        try:
            _reconnect_if_lost()
            return action()
        except (OperationalError, InterfaceError):
            if connection.in_atomic_block or stopping.asked() or time.monotonic() > until:
                raise
            connection.close()
            time.sleep(PAUSE_S)


def claim(clip_id, kind: str) -> Stage | None:
    """Take a waiting stage for work, or ``None`` when there is nothing to take."""
    rows = Stage.objects.filter(_may_be_worked_on(), clip_id=clip_id, kind=kind)
    return take(rows, "clip__enrolment__studio")


def take(rows: models.QuerySet[L], with_related: str) -> L | None:
    """Take one of ``rows`` for work, with what it is joined to, or ``None``.

    What filters ``rows`` must join no other table: the update itself has to see the state.
    """
    token = secrets.token_hex(16)
    free = Q(state=Leased.WAITING) | Q(state=Leased.WORKING, lease_until__lt=Now())
    taken = rows.filter(free, attempt__lt=MAX_ATTEMPTS).update(
        state=Leased.WORKING,
        attempt=F("attempt") + 1,
        lease_token=token,
        lease_until=Now() + LEASE,
        heartbeat_at=Now(),
        changed_at=Now(),
        progress=0.0,
        failure_code="",
        failure_params={},
        failure_detail="",
    )
    held = rows.model._default_manager.select_related(with_related).filter(lease_token=token)
    return patiently(held.get) if taken else None


def beat(stage: Leased, progress: float | None = None) -> None:
    """Renew the lease, and note how far the work is.

    Raises
    ------
    LeaseLost
        When the stage is no longer ours.
    """
    changes: dict = {"lease_until": Now() + LEASE, "heartbeat_at": Now()}
    if progress is not None:
        changes["progress"] = min(max(progress, 0.0), 1.0)
    if not _held(stage).update(**changes):
        raise LeaseLost(f"stage {stage.pk} is no longer held by this worker")


@contextmanager
def beating(stage: Leased, every_s: float = HEARTBEAT_S) -> Iterator[Callable[[float], None]]:
    """Beat in the background while the body works; yields a function that takes progress."""
    stop, shared = threading.Event(), {"progress": 0.0}

    def keep() -> None:
        try:
            while not stop.wait(every_s):
                try:
                    beat(stage, shared["progress"])
                except DatabaseError:  # away for a moment: the lease outlasts several beats
                    connection.close()
        except LeaseLost:
            pass  # publishing will find out, and drop the work
        finally:
            connection.close()

    thread = threading.Thread(target=keep, name=f"heartbeat-{stage.pk}", daemon=True)
    thread.start()
    try:
        yield lambda progress: shared.__setitem__("progress", progress)
    finally:
        stop.set()
        thread.join()


def publish(stage: Leased, write: Callable[[Clip], object]) -> None:
    """Write the results and mark the stage as done, in one transaction (:func:`publishing`).

    A database that is away is waited for, as long as the lease is not another's: the work is
    done, and need not be done again. From here on the worker's own end is waited for too.

    Raises
    ------
    LeaseLost
        See :func:`publishing`; also when only the answer to a successful commit was lost.
    """
    stopping.no_longer()

    def once() -> None:
        with publishing(stage) as clip:
            write(clip)

    patiently(once)


@contextmanager
def publishing(stage: Leased) -> Iterator[Clip]:
    """One transaction in which the results are written and the stage is done.

    Raises
    ------
    LeaseLost
        When the lease or the clip's generation is not what it was; nothing is written.
    """
    generation = stage.clip.generation
    _reconnect_if_lost()
    with transaction.atomic():
        clip = Clip.objects.select_for_update().get(pk=stage.clip_id)
        if clip.generation != generation or clip.erased_at is not None:
            raise LeaseLost(f"clip {clip.pk} was erased or replaced")
        done = _held(stage).update(
            state=stage.done_state,
            lease_token="",
            lease_until=None,
            progress=1.0,
            changed_at=Now(),
        )
        if not done:
            raise LeaseLost(f"stage {stage.pk} is no longer held by this worker")
        yield clip


def give_up(
    stage: Leased,
    code: str,
    params: dict | None = None,
    detail: str = "",
    *,
    retry: bool = True,
    counts: bool = True,
) -> bool:
    """Record a failure: wait for another attempt, or fail for good. Says whether it will retry.

    One that does not count (``counts=False``) is tried again until what stood in the way is gone.
    """
    again = retry and (stage.attempt < MAX_ATTEMPTS or not counts)
    held = _held(stage)
    patiently(
        lambda: held.update(
            state=Leased.WAITING if again else Leased.FAILED,
            attempt=stage.attempt if counts else stage.attempt - 1,
            lease_token="",
            lease_until=None,
            dispatched_at=None,
            failure_code=code,
            failure_params=params or {},
            failure_detail=detail[-4000:],
            changed_at=Now(),
        )
    )
    return again


def hand_back(stage: Leased) -> bool:
    """Let another worker begin again at once; the attempt does not count. Says whether it was ours.

    For a worker that must end: nothing was wrong with the clip.
    """
    _reconnect_if_lost()
    return bool(
        _held(stage).update(
            state=Leased.WAITING,
            attempt=F("attempt") - 1,
            lease_token="",
            lease_until=None,
            dispatched_at=None,
            progress=0.0,
            changed_at=Now(),
        )
    )


def lost() -> models.QuerySet[Stage]:
    """Stages whose message or worker was lost: to be sent again."""
    return lost_among(Stage.objects.filter(_may_be_worked_on()))


def lost_among(rows: models.QuerySet[L]) -> models.QuerySet[L]:
    """Those of ``rows`` whose message or worker was lost.

    A row that was made by a web process has that process's time: what lies in the future is the
    word of a wrong clock, and is not waited for.
    """
    long = Q(changed_at__lt=Now() - STALE_WAIT) | Q(changed_at__gt=Now() + STALE_WAIT)
    unsent = Q(dispatched_at__isnull=True) | Q(dispatched_at__lt=Now() - STALE_WAIT)
    unheard = Q(state=Leased.WAITING) & long & unsent
    expired = Q(state=Leased.WORKING, lease_until__lt=Now())
    return rows.filter(unheard | expired)


def cut_off(kind: str) -> models.QuerySet[Stage]:
    """Stages of a kind that were begun, and that nobody works on: longest ago first."""
    died = Q(state=Stage.State.WORKING, lease_until__lt=Now())
    broke = Q(state=Stage.State.WAITING, attempt__gt=0, changed_at__lt=Now() - STALE_WAIT)
    return Stage.objects.filter(
        died | broke, _may_be_worked_on(), kind=kind, attempt__lt=MAX_ATTEMPTS
    ).order_by("changed_at")


def fail_exhausted(model: type[Leased] = Stage) -> int:
    """What died at its last attempt without a word is failed for good."""
    return model._default_manager.filter(
        state=Leased.WORKING, lease_until__lt=Now(), attempt__gte=MAX_ATTEMPTS
    ).update(
        state=Leased.FAILED,
        lease_token="",
        lease_until=None,
        failure_code="worker_died",
        changed_at=Now(),
    )


def _may_be_worked_on() -> Q:
    """The clip is not erased; and it is listened to only while consent holds.

    The copy that browsers play is made all the same: the pupil's own clip stays theirs to watch.
    A listening that waits for consent goes on with the next sweep after it was given.
    """
    clip = Clip.objects.filter(pk=models.OuterRef("clip_id"), erased_at__isnull=True)
    agreed = consent.holds(consent.Purpose.RECORDINGS, "enrolment__pupil", "enrolment__studio")
    return Q(models.Exists(clip.filter(agreed))) | (
        ~Q(kind=Stage.Kind.LISTENING) & Q(models.Exists(clip))
    )


def _reconnect_if_lost() -> None:
    """The database may have been restarted during the work: check before the next query."""
    if not connection.in_atomic_block:
        connection.close_if_unusable_or_obsolete()


def _held(stage: L) -> models.QuerySet[L]:
    return (
        type(stage)
        ._default_manager.filter(pk=stage.pk, state=Leased.WORKING, lease_token=stage.lease_token)
        .exclude(lease_token="")
    )

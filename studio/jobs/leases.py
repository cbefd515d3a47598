"""Claim, lease, heartbeat, end: how long work is done exactly once.

All times are the database's own, so that a worker with a wrong clock can neither steal a
lease nor lose one. What came to an end counts as an attempt; a worker that died at it is counted
apart, for it says nothing of the work: others may have died there by chance. After
``ALONE_AFTER`` such deaths the work is suspected, and done in a process of its own
(:mod:`.isolation`); from ``BACK_OFF_AFTER`` on it waits longer each time; after
``MAX_WORKER_DEATHS`` it is parked.
"""

import secrets
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import TypeVar

from django.db import DatabaseError, InterfaceError, OperationalError, connection, models
from django.db.models import Case, F, Q, When
from django.db.models.functions import Now

from . import shutdown
from .rows import Leased

# Four heartbeats: a process that lives beats from a thread of its own. With a sweep every 15 s,
# what a killed worker left is taken up again after 55 s at most.
LEASE = timedelta(seconds=40)
HEARTBEAT_S = 10.0
STALE_WAIT = timedelta(seconds=30)  # a waiting row older than this lost its message
MAX_ATTEMPTS = 3
ALONE_AFTER = 2
BACK_OFF_AFTER = 4
MAX_WORKER_DEATHS = 10
FIRST_BACK_OFF = timedelta(minutes=1)  # then twice as long each time: an hour and more in all
PATIENCE_S = 120.0  # how long finished work waits for a database that is away
PAUSE_S = 1.0

T = TypeVar("T")
L = TypeVar("L", bound=Leased)


class GivesWay(Exception):
    """Something that may not wait has come: hand the work back, and leave it for later."""


class LeaseLost(Exception):
    """Another worker has the row now, or what it was about is gone: drop the work."""


def patiently(action: Callable[[], T], patience_s: float | None = None) -> T:
    """Do what needs the database, again and again until it is back; give what it gives.

    What is handed in must bear being done twice: the answer to the first time may be what was
    lost. A process that was told to end waits no longer.

    Raises
    ------
    OperationalError, InterfaceError
        When the database is still away after ``patience_s`` (``PATIENCE_S`` when None).
    """
    until = time.monotonic() + (PATIENCE_S if patience_s is None else patience_s)
    while True:
        try:
            reconnect_if_lost()
            return action()
        except (OperationalError, InterfaceError):
            if connection.in_atomic_block or shutdown.requested() or time.monotonic() > until:
                raise
            connection.close()
            time.sleep(PAUSE_S)


def take(rows: models.QuerySet[L], with_related: str = "") -> L | None:
    """Take one of ``rows`` for work, with what it is joined to, or ``None``.

    What filters ``rows`` must join no other table: the update itself has to see the state. A row
    whose worker died is at the same attempt as before.
    """
    token = secrets.token_hex(16)
    died = Q(state=Leased.WORKING)
    taken = rows.filter(free()).update(
        attempt=_raised("attempt", ~died),
        worker_deaths=_raised("worker_deaths", died),
        state=Leased.WORKING,
        lease_token=token,
        lease_until=Now() + LEASE,
        heartbeat_at=Now(),
        changed_at=Now(),
        progress=0.0,
        failure_code="",
        failure_params={},
        failure_detail="",
    )
    held = rows.model._default_manager.filter(lease_token=token)
    if with_related:
        held = held.select_related(with_related)
    return patiently(held.get) if taken else None


def free() -> Q:
    """Rows that may be taken: waiting, or left by a worker that died, once that is due again."""
    return Q(state=Leased.WAITING, attempt__lt=MAX_ATTEMPTS) | left_by_the_dead()


def left_by_the_dead() -> Q:
    """Rows whose worker died, and that are due again."""
    due = Q(worker_deaths__lt=BACK_OFF_AFTER - 1, lease_until__lt=Now())
    for deaths in range(BACK_OFF_AFTER - 1, MAX_WORKER_DEATHS - 1):
        wait = FIRST_BACK_OFF * 2 ** (deaths + 1 - BACK_OFF_AFTER)
        due |= Q(worker_deaths=deaths, lease_until__lt=Now() - wait)
    return Q(state=Leased.WORKING) & due


def is_suspect(held: Leased) -> bool:
    """Whether workers have died at it so often that it is to be done alone."""
    return held.worker_deaths >= ALONE_AFTER


def beat(held: Leased, progress: float | None = None) -> None:
    """Renew the lease, and note how far the work is.

    Raises
    ------
    LeaseLost
        When the row is no longer ours.
    """
    changes: dict = {"lease_until": Now() + LEASE, "heartbeat_at": Now()}
    if progress is not None:
        changes["progress"] = min(max(progress, 0.0), 1.0)
    if not still_held(held).update(**changes):
        raise _lost(held)


@contextmanager
def beating(held: Leased, every_s: float | None = None) -> Iterator[Callable[[float], None]]:
    """Beat in the background while the body works; yields a function that takes progress."""
    stop, shared = threading.Event(), {"progress": 0.0}

    def keep() -> None:
        try:
            while not stop.wait(HEARTBEAT_S if every_s is None else every_s):
                try:
                    beat(held, shared["progress"])
                except DatabaseError:  # away for a moment: the lease outlasts several beats
                    connection.close()
        except LeaseLost:
            pass  # publishing will find out, and drop the work
        finally:
            connection.close()

    thread = threading.Thread(target=keep, name=f"heartbeat-{held.pk}", daemon=True)
    thread.start()
    try:
        yield lambda progress: shared.__setitem__("progress", progress)
    finally:
        stop.set()
        thread.join()


def mark_done(held: Leased) -> None:
    """The work is done, if it still is ours. Inside the transaction that writes its results.

    Raises
    ------
    LeaseLost
    """
    done = still_held(held).update(
        state=held.done_state,  # type: ignore[attr-defined]  # each kind has its own
        lease_token="",
        lease_until=None,
        progress=1.0,
        changed_at=Now(),
    )
    if not done:
        raise _lost(held)


def judge(held: Leased, code: str, params: dict | None = None, detail: str = "") -> None:
    """What was worked on cannot be used, and why: it is not tried again.

    Raises
    ------
    LeaseLost
        When it is no longer this worker's to judge: it may be that what it works on was erased.
    """
    _end(held, Leased.FAILED, code, params, detail)


def give_up(
    held: Leased,
    code: str,
    params: dict | None = None,
    detail: str = "",
    *,
    retry: bool = True,
    counts: bool = True,
) -> bool:
    """Record a failure of ours: wait for another attempt, or be parked. Says whether it waits.

    One that does not count (``counts=False``) is tried again until what stood in the way is gone.

    Raises
    ------
    LeaseLost
        When it is no longer this worker's: its files may have been taken away under it.
    """
    again = retry and (held.attempt < MAX_ATTEMPTS or not counts)
    attempt = held.attempt if counts else held.attempt - 1
    _end(held, Leased.WAITING if again else Leased.PARKED, code, params, detail, attempt)
    return again


def hand_back(held: Leased) -> bool:
    """Let another worker begin again at once; the attempt does not count. Says whether it was ours.

    For a worker that must end: nothing was wrong with the work.
    """
    reconnect_if_lost()
    return bool(
        still_held(held).update(
            state=Leased.WAITING,
            attempt=F("attempt") - 1,
            lease_token="",
            lease_until=None,
            dispatched_at=None,
            progress=0.0,
            changed_at=Now(),
        )
    )


def lost_among(rows: models.QuerySet[L]) -> models.QuerySet[L]:
    """Those of ``rows`` whose message or worker was lost, and that are due again.

    A row that was made by a web process has that process's time: what lies in the future is the
    word of a wrong clock, and is not waited for.
    """
    long = Q(changed_at__lt=Now() - STALE_WAIT) | Q(changed_at__gt=Now() + STALE_WAIT)
    unsent = Q(dispatched_at__isnull=True) | Q(dispatched_at__lt=Now() - STALE_WAIT)
    unheard = Q(state=Leased.WAITING) & long & unsent
    return rows.filter(unheard | left_by_the_dead())


def cut_off_among(rows: models.QuerySet[L]) -> models.QuerySet[L]:
    """Those that were begun, that nobody works on, and that are due again: longest ago first."""
    broke = Q(state=Leased.WAITING, attempt__gt=0, changed_at__lt=Now() - STALE_WAIT)
    return rows.filter(left_by_the_dead() | (broke & free())).order_by("changed_at")


def park_exhausted(model: type[Leased]) -> int:
    """What workers died at without end is parked; says how many."""
    return model._default_manager.filter(
        state=Leased.WORKING, lease_until__lt=Now(), worker_deaths__gte=MAX_WORKER_DEATHS - 1
    ).update(
        state=Leased.PARKED,
        worker_deaths=F("worker_deaths") + 1,
        lease_token="",
        lease_until=None,
        failure_code="worker_died",
        failure_params={"times": MAX_WORKER_DEATHS},
        changed_at=Now(),
    )


def reconnect_if_lost() -> None:
    """The database may have been restarted during the work: check before the next query."""
    if not connection.in_atomic_block:
        connection.close_if_unusable_or_obsolete()


def still_held(held: L) -> models.QuerySet[L]:
    """The row, as long as this worker has it."""
    return (
        type(held)
        ._default_manager.filter(pk=held.pk, state=Leased.WORKING, lease_token=held.lease_token)
        .exclude(lease_token="")
    )


def _raised(field: str, when: Q) -> Case:
    """The field, one more where ``when`` holds of the row as it was."""
    return Case(When(when, then=F(field) + 1), default=F(field), output_field=models.IntegerField())


def _end(
    held: Leased,
    state: str,
    code: str,
    params: dict | None,
    detail: str,
    attempt: int | None = None,
) -> None:
    rows = still_held(held)
    ours = patiently(
        lambda: rows.update(
            state=state,
            attempt=held.attempt if attempt is None else attempt,
            lease_token="",
            lease_until=None,
            dispatched_at=None,
            failure_code=code,
            failure_params=params or {},
            failure_detail=detail[-4000:],
            changed_at=Now(),
        )
    )
    if not ours:
        raise _lost(held)


def _lost(held: Leased) -> LeaseLost:
    return LeaseLost(f"{held._meta.model_name} {held.pk} is no longer held by this worker")

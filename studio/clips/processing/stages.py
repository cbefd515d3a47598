"""Which stages of clips may be worked on, how they get to a worker, how results are published.

How one is claimed, kept and ended is :mod:`studio.jobs.leases`. A message that does not reach its
queue is no loss: the sweep sends it again.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from uuid import UUID

from django.db import models, transaction
from django.db.models import Q

from studio.accounts import consent
from studio.accounts.models import current
from studio.clips.models import Clip, Stage
from studio.jobs import leases, shutdown
from studio.jobs.leases import LeaseLost
from studio.jobs.queue import send
from studio.jobs.rows import Leased


def claim(clip_id, kind: str) -> Stage | None:
    """Take a waiting stage for work, or ``None`` when there is nothing to take."""
    rows = Stage.objects.filter(may_be_worked_on(), clip_id=clip_id, kind=kind)
    return leases.take(rows, "clip__enrolment__studio")


def publish(held: Leased, write: Callable[[Clip], object]) -> None:
    """Write the results and mark the work as done, in one transaction (:func:`publishing`).

    A database that is away is waited for, as long as the lease is not another's: the work is
    done, and need not be done again. From here on the worker's own end is waited for too.

    Raises
    ------
    LeaseLost
        See :func:`publishing`; also when only the answer to a successful commit was lost.
    """
    shutdown.no_longer()

    def once() -> None:
        with publishing(held) as clip:
            write(clip)

    leases.patiently(once)


@contextmanager
def publishing(held: Leased) -> Iterator[Clip]:
    """One transaction in which the results are written and the work on a clip's row is done.

    Raises
    ------
    LeaseLost
        When the lease or the clip's generation is not what it was; nothing is written.
    """
    generation = held.clip.generation  # type: ignore[attr-defined]  # each kind here has its clip
    leases.reconnect_if_lost()
    with transaction.atomic():
        number = held.clip_id  # type: ignore[attr-defined]
        clip = Clip.objects.select_for_update().filter(pk=number).first()
        if clip is None or clip.generation != generation or clip.erased_at is not None:
            raise LeaseLost(f"clip {number} was erased or replaced")
        leases.mark_done(held)
        yield clip


def lost() -> models.QuerySet[Stage]:
    """Stages whose message or worker was lost: to be sent again.

    What waits to be heard anew waits for its turn, not for a message (:mod:`.rehearing`).
    """
    idle = Q(kind=Stage.Kind.REHEARING, state=Stage.State.WAITING)
    return leases.lost_among(Stage.objects.filter(may_be_worked_on()).exclude(idle))


def cut_off(kind: str) -> models.QuerySet[Stage]:
    """Stages of a kind that were begun, and that nobody works on: longest ago first."""
    return leases.cut_off_among(Stage.objects.filter(may_be_worked_on(), kind=kind))


def may_be_worked_on() -> Q:
    """The clip is not erased; and it is listened to only while consent holds and lessons go on.

    The copy that browsers play is made all the same: the pupil's own clip stays theirs to watch.
    A listening that waits for consent goes on with the next sweep after it was given; one of
    lessons that have ended, once their end is taken back: nobody would read what was heard.
    """
    clip = Clip.objects.filter(pk=models.OuterRef("clip_id"), erased_at__isnull=True)
    agreed = consent.holds(consent.Purpose.RECORDINGS, "enrolment__pupil", "enrolment__studio")
    listened_to = clip.filter(agreed, current("enrolment__"))
    return Q(models.Exists(listened_to)) | (~Q(kind__in=LISTENED_TO) & Q(models.Exists(clip)))


LISTENED_TO = (Stage.Kind.LISTENING, Stage.Kind.REHEARING)  # only while consent holds

TASKS = {
    Stage.Kind.EXAMINING: ("studio.clips.tasks.examine_clip", "listening"),
    Stage.Kind.LISTENING: ("studio.clips.tasks.listen_to_clip", "listening"),
    Stage.Kind.REHEARING: ("studio.clips.tasks.hear_clip_anew", "listening"),
    Stage.Kind.PLAYBACK: ("studio.clips.tasks.prepare_playback", "pictures"),
    Stage.Kind.SMALL: ("studio.clips.tasks.prepare_small", "pictures"),
}


def dispatch(clip_id: UUID, kind: str) -> bool:
    """Send one stage's work to its queue; says whether the broker took it."""
    task, queue = TASKS[Stage.Kind(kind)]
    rows = Stage.objects.filter(clip_id=clip_id, kind=kind)
    return send(task, queue, {"clip_id": str(clip_id)}, rows)

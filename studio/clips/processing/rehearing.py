"""Hearing clips anew that an engine of an earlier generation heard, while nothing else waits.

Figures of two generations do not mean the same (:attr:`~studio.clips.models.Listening.generation`),
so what is compared over time has to be of one. A clip that is heard anew has a stage *rehearing*
and keeps its listening until there is a newer one; where that fails, the one it has stays.

Only one message is under way at a time, and none while a new clip waits: rows wait, not messages,
so that no new clip ever stands behind them in the queue. A new clip that comes while one is being
heard anew stops that (:func:`giving_way`).
"""

import logging
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

from django.conf import settings
from django.db import DatabaseError
from django.db.models import (
    Case,
    Count,
    DateTimeField,
    Exists,
    F,
    OuterRef,
    Q,
    QuerySet,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Now
from django.utils.translation import gettext as _

from studio.accounts import consent
from studio.accounts.models import current
from studio.clips import signals
from studio.clips.models import Clip, Listening, Stage, version_of
from studio.intonation import ENGINE
from studio.jobs import leases
from studio.workers import pace, signs

from . import availability, stages

log = logging.getLogger(__name__)

LOOK_S = 1.0  # how often it is asked whether a new clip waits
TOLD = ("instrument", "string_length_mm", "open_strings", "a4_hz")  # of an engine's options
REASONS = ("awaited", "latest", "others")
UNTRIED = timedelta(minutes=2)  # after what was not the recording's doing, such as a full disk


# -- which -----------------------------------------------------------------------------------------


def outdated(*, whole_version: bool = False) -> QuerySet[Clip]:
    """Clips that could be heard anew: heard by an earlier generation, and by none since.

    With ``whole_version`` those too that an earlier engine of this generation heard. Their
    recordings are kept, consent holds and the lessons go on.
    """
    earlier, present = _engines(whole_version)
    heard = Listening.objects.filter(clip=OuterRef("pk"))
    settled = Stage.objects.filter(
        clip=OuterRef("pk"), kind=Stage.Kind.LISTENING, state=Stage.State.HEARD
    )
    return Clip.objects.filter(
        consent.holds(consent.Purpose.RECORDINGS, "enrolment__pupil", "enrolment__studio"),
        current("enrolment__"),
        Exists(heard.filter(engine__in=earlier)),
        ~Exists(heard.filter(engine__in=present)),
        Exists(settled),
        erased_at=None,
        original__isnull=False,
    )


def _engines(whole_version: bool) -> tuple[list[str], list[str]]:
    """The engines that heard something: those before the one of now, and the others."""
    length = None if whole_version else 1
    now = version_of(ENGINE)[:length]
    known = Listening.objects.order_by().values_list("engine", flat=True).distinct()
    earlier, present = [], []
    for engine in known:
        (earlier if version_of(engine)[:length] < now else present).append(engine)
    return earlier, present


def in_turn(clips: QuerySet[Clip]) -> QuerySet[Clip]:
    """Clips that are waited for, the longest wait first; each place's latest; then the others.

    ``reason`` says which it is: a place in ``REASONS``.
    """
    wanted = Q(pk__in=[])
    for _rest, condition in signals.awaited.send(sender=Clip):
        wanted |= condition
    later = Clip.objects.filter(
        enrolment=OuterRef("enrolment"),
        created_at__gt=OuterRef("created_at"),
        intake=Clip.Intake.RECEIVED,
        erased_at=None,
    )
    reason = Case(
        When(wanted, then=Value(0)), When(~Exists(later), then=Value(1)), default=Value(2)
    )
    waits_since = Case(When(reason=0, then=F("created_at")), output_field=DateTimeField())
    return clips.annotate(reason=reason).order_by(
        "reason", waits_since.asc(nulls_last=True), "-created_at", "pk"
    )


def waiting() -> QuerySet[Stage]:
    """Stages of clips that wait to be heard anew, and may be."""
    rows = Stage.objects.filter(kind=Stage.Kind.REHEARING, state=Stage.State.WAITING)
    return rows.filter(stages.may_be_worked_on())


def is_promised(clip_id: UUID) -> bool:
    """Whether a clip of an earlier engine will be heard anew, by what is known now."""
    stage = Stage.objects.filter(clip=clip_id, kind=Stage.Kind.REHEARING).first()
    if stage is not None:
        return stage.state in (Stage.State.WAITING, Stage.State.WORKING)
    return settings.HEAR_ANEW and outdated().filter(pk=clip_id).exists()


# -- asked for by a command ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Work:
    """How many clips, for which reasons, and how long: their sound, and the listening to it."""

    clips: int
    by_reason: tuple[int, ...]
    sound_s: float
    takes_s: float | None


def work_of(clips: QuerySet[Clip]) -> Work:
    """What hearing some clips is; ``takes_s`` is None where no speed was measured yet."""
    rows = in_turn(clips).order_by().values("reason").annotate(n=Count("pk"), s=Sum("duration_s"))
    found = {row["reason"]: row for row in rows}
    counts = tuple(found.get(place, {"n": 0})["n"] for place in range(len(REASONS)))
    sound_s = sum(row["s"] or 0.0 for row in found.values())
    speed = pace.recent(Stage.Kind.LISTENING, pace.KEPT)
    return Work(sum(counts), counts, sound_s, sound_s / speed if speed else None)


def ask_for(clips: Iterable[Clip], *, though_failed: bool = False) -> int:
    """Let clips be heard anew in their turn; says how many do not wait for it already.

    One at which it failed is left alone, unless it is asked for ``though_failed``.
    """
    asked = 0
    for clip in clips:
        stage, made = Stage.objects.get_or_create(clip=clip, kind=Stage.Kind.REHEARING)
        if not made and though_failed and stage.state in (Stage.State.FAILED, Stage.State.PARKED):
            stage.begin_again()
            made = True
        asked += made
    return asked


def without_a_stage(clips: QuerySet[Clip]) -> QuerySet[Clip]:
    """Those of which none waits, is at work or has failed."""
    return clips.exclude(Exists(_stages_of()))


def failed(clips: QuerySet[Clip]) -> QuerySet[Clip]:
    """Those at which it has failed: they keep what was heard before."""
    ended = (Stage.State.FAILED, Stage.State.PARKED)
    return clips.filter(Exists(_stages_of().filter(state__in=ended)))


def _stages_of() -> QuerySet[Stage]:
    return Stage.objects.filter(clip=OuterRef("pk"), kind=Stage.Kind.REHEARING)


# -- one after the other ---------------------------------------------------------------------------


def new_clip_waits() -> bool:
    """Whether a recording that nobody heard yet waits for a listener."""
    kinds = (Stage.Kind.EXAMINING, Stage.Kind.LISTENING)
    rows = Stage.objects.filter(stages.may_be_worked_on(), kind__in=kinds)
    return rows.filter(leases.free()).exists()


def send_next() -> UUID | None:
    """Send the next clip to be heard anew, if nothing else is to be done; which one it was.

    What was asked for goes first; then, unless the setting says no, what an earlier engine heard.
    """
    if _is_busy() or not signs.taking(availability.QUEUE, signs.alive()).exists():
        return None
    clip_id = _asked() or (_unasked() if settings.HEAR_ANEW else None)
    if clip_id is not None and stages.dispatch(clip_id, Stage.Kind.REHEARING):
        log.info("rehearing of %s: sent, nothing else waits", clip_id)
    return clip_id


def is_due(clip_id: str) -> bool:
    """Whether a clip that was sent may be heard anew now; else it waits for another turn."""
    if not new_clip_waits():
        return True
    rows = Stage.objects.filter(clip=clip_id, kind=Stage.Kind.REHEARING)
    rows.filter(state=Stage.State.WAITING).update(dispatched_at=None)
    return False


def _is_busy() -> bool:
    """Whether a listener has something to do, or will have in a moment."""
    own = Q(kind=Stage.Kind.REHEARING)
    under_way = Q(state=Stage.State.WORKING) | (
        own & Q(state=Stage.State.WAITING, dispatched_at__gt=Now() - leases.STALE_WAIT)
    )
    listened = Stage.objects.filter(kind__in=stages.LISTENED_TO, clip__erased_at=None)
    return new_clip_waits() or listened.filter(under_way).exists()


def _asked() -> UUID | None:
    rows = waiting().exclude(failure_code__gt="", changed_at__gt=Now() - UNTRIED)
    clips = in_turn(Clip.objects.filter(pk__in=rows.values("clip")))
    return clips.values_list("pk", flat=True).first()


def _unasked() -> UUID | None:
    clip = in_turn(without_a_stage(outdated())).only("pk").first()
    if clip is None:
        return None
    ask_for([clip])
    return clip.pk


# -- the work itself -------------------------------------------------------------------------------


def newest_of(clip_id: UUID) -> Listening:
    """The listening that a clip has, without its long measurement.

    Raises
    ------
    leases.LeaseLost
        Where it has none: then there is nothing to hear anew.
    """
    rows = Listening.objects.filter(clip=clip_id).defer("measurement")
    found = rows.order_by("-created_at", "-pk").first()
    if found is None:
        raise leases.LeaseLost(f"clip {clip_id} was never heard")
    return found


def is_present(listening: Listening) -> bool:
    """Whether the engine of now made it."""
    return listening.engine == ENGINE


def options_of(listening: Listening) -> dict:
    """What the engine was told then, as listening takes it."""
    told = {name: listening.options[name] for name in TOLD if listening.options.get(name)}
    return {
        name: tuple(value) if isinstance(value, list) else value for name, value in told.items()
    }


def giving_way(progress: Callable[[float], None]) -> Callable[[float], None]:
    """``progress``, which ends the work once a new clip waits."""
    looked_at = time.monotonic()

    def note(done: float) -> None:
        nonlocal looked_at
        progress(done)
        if time.monotonic() - looked_at < LOOK_S:
            return
        looked_at = time.monotonic()
        if _a_new_clip_is_known_to_wait():
            raise leases.GivesWay(_("a new clip waits"))

    return note


def _a_new_clip_is_known_to_wait() -> bool:
    try:
        return new_clip_waits()
    except DatabaseError:  # away for a moment: the work goes on
        return False

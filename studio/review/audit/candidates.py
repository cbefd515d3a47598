"""What there is to ask about: clips that the teacher may watch, and their double stops.

Left out is what somebody decided in the last ``LONG_AGO`` days, and what was asked about before:
whoever remembers a moment does not judge it by ear.
"""

from collections.abc import Iterable
from datetime import timedelta
from random import Random
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone

from studio.accounts import access as people
from studio.accounts.models import Person, Studio
from studio.clips.models import Clip, Listening, Stage, version_of
from studio.intonation import ENGINE
from studio.review.access.reviews import reviews_with_clips
from studio.review.marks import interval_groups
from studio.review.marks.judging import Judged, judged
from studio.review.marks.mark import Mark
from studio.review.models import AuditMoment

from .draw import MOST, Candidate, fives_of

LONG_AGO = timedelta(days=90)
MOST_CLIPS = 40  # judged for one draw; so it takes about a second at most
TIMES_OVER = 2  # how many times a whole round is enough to choose from
SAME_S = 0.5  # an earlier moment that begins within this is the same one


def watchable(person: Person, studio: Studio) -> QuerySet[Clip]:
    """Clips of a studio's pupils that can be heard, and that ``person`` may watch now."""
    playable = Stage.objects.filter(
        clip=OuterRef("pk"), kind=Stage.Kind.PLAYBACK, state=Stage.State.PLAYABLE
    )
    return Clip.objects.filter(
        Exists(playable),
        enrolment__in=people.places_to_hear(person),
        enrolment__studio=studio,
        intake=Clip.Intake.RECEIVED,
        has_audio=True,
        erased_at=None,
        recording_gone_at=None,
    )


def candidates(person: Person, studio: Studio, seed: int) -> list[Candidate]:
    """Of clips in random order, until there is enough to choose from."""
    generation = version_of(ENGINE)[0]
    heard = Listening.objects.filter(clip=OuterRef("pk"), engine__startswith=f"{generation}.")
    clips = watchable(person, studio).filter(Exists(heard))
    numbers = sorted(clips.values_list("pk", flat=True))
    Random(seed).shuffle(numbers)
    asked, found = _asked_before(studio), []
    for number in numbers[:MOST_CLIPS]:
        found += _of_clip(number, generation, asked.get(number, ()))
        if _is_enough(found):
            break
    return found


def _is_enough(found: list[Candidate]) -> bool:
    marks = sum(bool(each.code) for each in found)
    return fives_of(marks // TIMES_OVER, (len(found) - marks) // TIMES_OVER) >= MOST // 5


def _asked_before(studio: Studio) -> dict[UUID, list[float]]:
    """When the moments began that were asked about before, by clip."""
    starts: dict[UUID, list[float]] = {}
    rows = AuditMoment.objects.filter(round__studio=studio).values_list("clip", "start_s")
    for clip_id, start_s in rows.order_by():
        starts.setdefault(clip_id, []).append(start_s)
    return starts


def _of_clip(clip_id: UUID, generation: int, asked: Iterable[float]) -> list[Candidate]:
    review = reviews_with_clips().filter(clip=clip_id).first()
    found = judged(review) if review else None
    if found is None or found.listening.generation != generation:
        return []
    return [
        each
        for each in (*_marked(found), *_unmarked(found))
        if each.is_askable and all(abs(each.start_s - start_s) > SAME_S for start_s in asked)
    ]


def _marked(found: Judged) -> list[Candidate]:
    """Marks about the size of a double stop that nobody has decided lately."""
    since = timezone.now() - LONG_AGO
    return [
        Candidate(
            clip_id=found.review.clip_id,
            kind=interval_groups.of_interval(mark.params["interval"]),
            start_s=mark.start_s,
            end_s=mark.end_s,
            generation=found.listening.generation,
            code=mark.code,
            sentence=mark.sentence,
            deviation_cents=mark.params.get("deviation_cents"),
            uncertainty_cents=mark.params.get("uncertainty_cents"),
        )
        for mark in found.marks
        if mark.is_sized and not (mark.decision and mark.decision.decided_at > since)
    ]


def _unmarked(found: Judged) -> list[Candidate]:
    """The last playing of each run in which nothing is marked, where two notes were heard."""
    events = {event["id"]: event for event in found.measurement["events"]}
    sizes = {row["event"]: row for row in reversed(found.judgement["intervals"])}
    marked = {mark.run for mark in found.marks}
    runs = (run for run in found.judgement["runs"] if run["id"] not in marked)
    lasts = (_last_playing(run, events) for run in runs)
    return [
        _beside(found, events[last], sizes[last])
        for last in lasts
        if last in sizes and not _is_marked(events[last], found.marks)
    ]


def _last_playing(run: dict, events: dict[int, dict]) -> int | None:
    played = reversed(run.get("playings") or run["events"])
    return next((pk for pk in played if pk in events and len(events[pk]["voices"]) == 2), None)


def _is_marked(event: dict, marks: Iterable[Mark]) -> bool:
    return any(m.start_s < event["end_s"] and event["start_s"] < m.end_s for m in marks)


def _beside(found: Judged, event: dict, row: dict) -> Candidate:
    pair = row["low"], row["high"]
    size = next((i for i in event["intervals"] if (i["low"], i["high"]) == pair), {})
    return Candidate(
        clip_id=found.review.clip_id,
        kind=interval_groups.of_interval(row["short"]),
        start_s=event["start_s"],
        end_s=event["end_s"],
        generation=found.listening.generation,
        deviation_cents=row["deviation_cents"],
        uncertainty_cents=size.get("uncertainty_cents"),
    )

"""Where entries come from: for each kind of entry, the rows that are asked for.

Every source gives its newest rows alone, as (when, number), before the place from which the page
goes on; so a page costs the same after five years. Where a question cannot be about a kind of
entry (a kind of comment about a drill) it gives nothing, and no query is made.
"""

from collections.abc import Callable
from datetime import date, datetime, time
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet, TextField
from django.db.models.functions import Cast
from django.utils import timezone

from studio.clips.models import Clip
from studio.drills.models import RotationLesson
from studio.drills.practice import access as practice
from studio.drills.shelf import FAMILIES
from studio.review.models import Question, QuestionEntry
from studio.theory import Key

from .asked import RANK, Asked, Place, What
from .readers import Reader

EARLIEST = date(1970, 1, 1)


def newest(reader: Reader, asked: Asked, most: int) -> list[Place]:
    """The places of the newest entries that were asked for, no more than ``most``, in order."""
    wanted = [What(asked.what)] if asked.what else list(What)
    found = [place for what in wanted for place in _SOURCES[what](reader, asked, most)]
    found.sort(key=lambda place: (place.at, RANK[place.what], place.pk.zfill(20)), reverse=True)
    return found[:most]


def midnight(day: date) -> datetime:
    """When a day begins, where the studio is."""
    return timezone.make_aware(datetime.combine(day, time.min))


# -- each kind of entry ----------------------------------------------------------------------


def _clips(reader: Reader, asked: Asked, most: int) -> list[Place]:
    if not reader.sees_recordings:
        return []
    clips = Clip.objects.filter(
        enrolment=reader.place, intake=Clip.Intake.RECEIVED, erased_at__isnull=True
    )
    seen, version = reader.returned("review__returned"), "review__answers__version"
    for word in asked.words:
        said = Q(pk__in=_clips_saying(reader, _said(word)))
        own = _any_has(word, "title", "note", f"{version}__title")
        clips = clips.filter(own | said | (seen & Q(review__summary__icontains=word)))
    if asked.kind:
        of_kind = Q(kind=asked.kind)
        if asked.interval:
            of_kind &= Q(interval=asked.interval)
        clips = clips.filter(pk__in=_clips_saying(reader, of_kind))
    elif asked.interval:
        heard = seen & Q(review__intervals__contains=asked.interval)
        clips = clips.filter(heard | _of_interval(version, asked.interval))
    clips = _of_drill(clips, version, asked)
    return _places(What.CLIP, clips, "created_at", asked, most)


def _clips_saying(reader: Reader, said: Q) -> QuerySet:
    return reader.moments().filter(said).values("returned__review__clip")


def _said(word: str) -> Q:
    return _any_has(word, "text", "guardian_text", "child_text")


def _set(reader: Reader, asked: Asked, most: int) -> list[Place]:
    return _assignments(What.SET, "published_at", reader, asked, most)


def _done(reader: Reader, asked: Asked, most: int) -> list[Place]:
    return _assignments(What.DONE, "done_at", reader, asked, most)


def _assignments(what: What, at: str, reader: Reader, asked: Asked, most: int) -> list[Place]:
    if asked.kind:
        return []
    found = reader.assignments().filter(**{f"{at}__isnull": False})
    for word in asked.words:
        found = found.filter(_any_has(word, "version__title", "version__words", "goal"))
    if asked.interval:
        found = found.filter(_of_interval("version", asked.interval))
    return _places(what, _of_drill(found, "version", asked), at, asked, most)


def _lessons(reader: Reader, asked: Asked, most: int) -> list[Place]:
    if asked.kind or asked.interval:
        return []
    found = reader.notes()
    for word in asked.words:
        found = found.filter(_any_has(word, "text", "agreed"))
    if asked.key:
        keys = Cast("lesson__keys", TextField())
        found = found.annotate(said=keys).filter(said__icontains=f'"{Key.parse(asked.key)}"')
    if asked.drill:
        found = found.filter(drills_set__version__drill=asked.drill)
    return _places(What.LESSON, found, "held_on", asked, most)


def _keys(reader: Reader, asked: Asked, most: int) -> list[Place]:
    """Lessons of the plan of keys that are done: a plan is short, and read whole."""
    if asked.kind or asked.drill:
        return []
    lessons = RotationLesson.objects.filter(round__rotation__enrolment=reader.place)
    found = []
    for lesson in lessons.select_related("round"):
        if _is_asked(lesson, asked) and (day := lesson.done_on) is not None:
            found.append(Place(midnight(day), What.KEYS, str(lesson.pk)))
    return [place for place in found if _is_within(place, asked)]


def _is_asked(lesson: RotationLesson, asked: Asked) -> bool:
    names = [one["key"] for one in lesson.keys]
    said = " ".join([str(lesson), *names, *lesson.round.intervals]).lower()
    return (
        (not asked.key or str(Key.parse(asked.key)) in names)
        and (not asked.interval or asked.interval in lesson.round.intervals)
        and all(word.lower() in said for word in asked.words)
    )


def _is_within(place: Place, asked: Asked) -> bool:
    day, before = timezone.localdate(place.at), asked.before
    if day < (asked.since or day) or day > (asked.until or day):
        return False
    if before is None or place.at != before.at:
        return before is None or place.at < before.at
    here, there = RANK[place.what], RANK[before.what]
    return here < there or (here == there and int(place.pk) < int(before.pk))


def _questions(reader: Reader, asked: Asked, most: int) -> list[Place]:
    if asked.kind:
        return []
    found = Question.objects.filter(enrolment=reader.place)
    found = found.filter(Q(clip=None) | Q(clip__erased_at=None))
    for word in asked.words:
        entries = QuestionEntry.objects.filter(question=OuterRef("pk"), text__icontains=word)
        found = found.filter(Exists(entries) | Q(quoted__icontains=word))
    if asked.interval:
        found = found.filter(_of_interval("assignment__version", asked.interval))
    found = _of_drill(found, "assignment__version", asked)
    return _places(What.QUESTION, found, "created_at", asked, most)


def _practice(reader: Reader, asked: Asked, most: int) -> list[Place]:
    if asked.kind or not reader.sees_recordings:
        return []
    since, until = asked.since or EARLIEST, asked.until or date.max
    found = practice.entries_of(reader.place, since, until)
    for word in asked.words:
        found = found.filter(_any_has(word, "word", "assignment__version__title"))
    if asked.interval:
        found = found.filter(_of_interval("assignment__version", asked.interval))
    found = _of_drill(found, "assignment__version", asked)
    return _places(What.PRACTICE, found, "day", asked, most)


_SOURCES: dict[What, Callable[[Reader, Asked, int], list[Place]]] = {
    What.PRACTICE: _practice,
    What.KEYS: _keys,
    What.LESSON: _lessons,
    What.QUESTION: _questions,
    What.SET: _set,
    What.DONE: _done,
    What.CLIP: _clips,
}


# -- conditions ------------------------------------------------------------------------------


def _any_has(word: str, *fields: str) -> Q:
    found = Q()
    for field in fields:
        found |= Q(**{f"{field}__icontains": word})
    return found


def _of_interval(version: str, interval: str) -> Q:
    return Q(**{f"{version}__interval__in": FAMILIES[interval]})


def _of_drill(rows: QuerySet, version: str, asked: Asked) -> QuerySet:
    """Rows of a key and of a drill, where those are asked for."""
    if asked.key:
        rows = rows.filter(**{f"{version}__key": asked.key})
    return rows.filter(**{f"{version}__drill": asked.drill}) if asked.drill else rows


def _places(what: What, rows: QuerySet, field: str, asked: Asked, most: int) -> list[Place]:
    """The newest of the rows within the period and before the place where the page goes on."""
    is_day = field in ("day", "held_on")
    if asked.since:
        rows = rows.filter(**{f"{field}__gte": asked.since if is_day else midnight(asked.since)})
    if asked.until:
        after = midnight(date.fromordinal(asked.until.toordinal() + 1))
        until = {f"{field}__lte": asked.until} if is_day else {f"{field}__lt": after}
        rows = rows.filter(**until)
    if asked.before:
        rows = rows.filter(_earlier(what, field, asked.before, is_day=is_day))
    found = rows.order_by(f"-{field}", "-pk").values_list(field, "pk")[:most]
    return [Place(midnight(at) if is_day else at, what, str(pk)) for at, pk in found]


def _earlier(what: What, field: str, before: Place, *, is_day: bool) -> Q:
    """A condition for what comes after a place on the page, so was earlier."""
    at: datetime | date = timezone.localdate(before.at) if is_day else before.at
    if is_day and midnight(timezone.localdate(before.at)) != before.at:
        return Q(**{f"{field}__lte": at})
    same, earlier = Q(**{field: at}), Q(**{f"{field}__lt": at})
    if RANK[what] < RANK[before.what]:
        return earlier | same
    if what == before.what and (pk := _number(before)) is not None:
        return earlier | (same & Q(pk__lt=pk))
    return earlier


def _number(place: Place) -> UUID | int | None:
    try:
        return UUID(place.pk) if place.what == What.CLIP else int(place.pk)
    except ValueError:
        return None

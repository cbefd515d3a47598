"""The entries of a page, by month: what the rows at its places say, one query for each kind."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from itertools import groupby
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import ngettext

from studio import figures
from studio.clips.models import Clip
from studio.drills.access import scores_of
from studio.drills.models import RotationLesson
from studio.drills.practice import access as practice
from studio.review import access
from studio.review.models import ReturnedMoment

from . import sources
from .asked import Asked, Place, What
from .readers import Reader

A_PAGE = 30
MOMENTS_SHOWN = 4


@dataclass(slots=True)
class Entry:
    """One thing on the line: its row, and of a clip what was said."""

    place: Place
    row: Any
    said: list[tuple[ReturnedMoment, str]] = field(default_factory=list)
    more: int = 0
    is_answered: bool = False

    @property
    def what(self) -> str:
        return self.place.what.value

    @property
    def more_words(self) -> str:
        """How much more was said of the clip than is shown."""
        return ngettext("and %(n)s moment more", "and %(n)s moments more", self.more) % {
            "n": self.more
        }

    @property
    def day(self):
        return timezone.localdate(self.place.at)


@dataclass(frozen=True, slots=True)
class Page:
    """Entries by month, the newest first; ``earlier`` is where the next page goes on."""

    months: list[tuple[str, list[Entry]]]
    earlier: Place | None
    count: int


def page_of(reader: Reader, asked: Asked) -> Page:
    """The page of the line that was asked for."""
    places = sources.newest(reader, asked, A_PAGE + 1)
    shown = places[:A_PAGE]
    entries = _entries(reader, asked, shown)
    months = groupby(entries, key=lambda entry: figures.month(entry.day))
    earlier = shown[-1] if len(places) > A_PAGE else None
    return Page([(name, list(some)) for name, some in months], earlier, len(entries))


def _entries(reader: Reader, asked: Asked, places: list[Place]) -> list[Entry]:
    by_what = {
        what: {row.pk: row for row in rows(reader, _numbers(places, what))}
        for what, rows in _ROWS.items()
        if any(place.what in _SHARE.get(what, (what,)) for place in places)
    }
    found = []
    for place in places:
        rows = by_what[What.SET if place.what == What.DONE else place.what]
        row = rows.get(_number(place))
        if row is not None:  # else it went in the meantime
            found.append(Entry(place, row))
    _put_words(reader, asked, [entry for entry in found if entry.place.what == What.CLIP])
    return found


def _numbers(places: Iterable[Place], what: What) -> list[UUID | int]:
    return [_number(place) for place in places if place.what in _SHARE.get(what, (what,))]


def _number(place: Place) -> UUID | int:
    return UUID(place.pk) if place.what == What.CLIP else int(place.pk)


def _put_words(reader: Reader, asked: Asked, entries: list[Entry]) -> None:
    """What was said of each clip: what was asked for, else what comes first."""
    if not entries:
        return
    moments = reader.moments().filter(returned__review__clip__in=[one.row.pk for one in entries])
    if asked.kind:
        moments = moments.filter(kind=asked.kind)
    by_review: dict[int, list[ReturnedMoment]] = {}
    for moment in moments.select_related("returned").defer("returned__snapshot"):
        by_review.setdefault(moment.returned.review_id, []).append(moment)
    for entry in entries:
        review = getattr(entry.row, "review", None)
        said = by_review.get(review.pk, []) if review else []
        entry.is_answered = review is not None and _is_answered(reader, review)
        _choose(reader, asked, entry, said)


def _is_answered(reader: Reader, review) -> bool:
    returned = getattr(review, "returned", None)
    if returned is None:
        return False
    return reader.is_teacher or returned.visible_at <= reader.now


def _choose(reader: Reader, asked: Asked, entry: Entry, said: list[ReturnedMoment]) -> None:
    worded = [(moment, reader.words_of(moment)) for moment in said]
    wanted = [
        (moment, words)
        for moment, words in worded
        if (not asked.interval or moment.interval == asked.interval)
        and all(word.lower() in words.lower() for word in asked.words)
    ]
    chosen = wanted or worded
    entry.said, entry.more = chosen[:MOMENTS_SHOWN], len(said) - len(chosen[:MOMENTS_SHOWN])


# -- the rows of each kind -------------------------------------------------------------------


def _clips(reader: Reader, numbers: list) -> QuerySet[Clip]:
    version = "review__answers__version"
    return (
        Clip.objects.filter(pk__in=numbers)
        .select_related(version, "review__returned")
        .defer("info", "review__returned__snapshot", *scores_of(version))
    )


def _questions(reader: Reader, numbers: list) -> QuerySet:
    return access.questions_of(reader.place).filter(pk__in=numbers)


def _keys(reader: Reader, numbers: list) -> QuerySet:
    return RotationLesson.objects.filter(pk__in=numbers).select_related("round")


def _practice(reader: Reader, numbers: list) -> QuerySet:
    every = practice.entries_of(reader.place, sources.EARLIEST, date.max)
    return every.filter(pk__in=numbers)


_SHARE = {What.SET: (What.SET, What.DONE)}  # rows of one table
_ROWS = {
    What.CLIP: _clips,
    What.SET: lambda reader, numbers: reader.assignments().filter(pk__in=numbers),
    What.LESSON: lambda reader, numbers: reader.notes().filter(pk__in=numbers),
    What.QUESTION: _questions,
    What.KEYS: _keys,
    What.PRACTICE: _practice,
}

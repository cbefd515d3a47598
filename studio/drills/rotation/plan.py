"""The key rotation as plain values: which keys in which lesson, and on which day.

Which keys there are, in which order and how many a lesson, is the teacher's own list (``lists``).
What is proposed to begin with: a round takes a major and a minor scale each lesson, 24 keys in 12
lessons. The major keys go round the circle of fifths from G, so that G and D come first (common
practice, no source: octave scales often begin in G and D major). How major and minor keys are
paired is a choice of this project: *same tonic* by default, because both scales then begin with the
same finger on the same string and only the third, sixth and seventh move; *same signature*
(relative keys) is on offer.

Days are dates, no times. A lesson falls on a day of the rhythm that is no holiday. What was not
played keeps its place and moves to the next such day: holidays shift days and never lose keys.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import islice
from typing import TypeVar

from django.utils.translation import gettext as _

from studio.theory.keys import ALL_KEYS, Key

Lesson = TypeVar("Lesson")

FIRST_TONIC = "G"
PAIRINGS = ("tonic", "signature")
KEYS_A_LESSON = 2
EVERY_WEEKS_BOUNDS = (1, 4)
LONGEST_HOLIDAY_DAYS = 366
FURTHEST_DAYS = 366 * 20  # a rhythm without a free day in twenty years has none

MAJOR_KEYS = tuple(key for key in ALL_KEYS if key.mode == "major")
MINOR_KEYS = tuple(key for key in ALL_KEYS if key.mode == "minor")


class NotTheSameLessons(ValueError):
    """A wished order names other lessons than there are."""


class NoFreeDay(ValueError):
    """The holidays leave no day for a lesson."""


@dataclass(frozen=True, slots=True)
class Pair:
    """A major key and the minor key that it is proposed with."""

    major: Key
    minor: Key


def pairs(first: str = FIRST_TONIC, pairing: str = "tonic") -> tuple[Pair, ...]:
    """All 24 keys in pairs, each once.

    Parameters
    ----------
    first : tonic of the first major key, as ``ALL_KEYS`` spells it
    pairing : ``tonic`` (G major with G minor) or ``signature`` (G major with E minor)

    Raises
    ------
    ValueError
        For a tonic or a pairing that is not known.

    Examples
    --------
    >>> [f"{pair.major}, {pair.minor}" for pair in pairs()[:2]]
    ['G major, G minor', 'D major, D minor']
    """
    tonics = [key.tonic for key in MAJOR_KEYS]
    if first not in tonics:
        raise ValueError(f"tonic {first!r} is not known; write one of {', '.join(tonics)}")
    if pairing not in PAIRINGS:
        raise ValueError(f"pairing {pairing!r} is not known; write {' or '.join(PAIRINGS)}")
    start = tonics.index(first)
    majors = MAJOR_KEYS[start:] + MAJOR_KEYS[:start]
    return tuple(Pair(major, _partner(major, pairing)) for major in majors)


def proposed(
    first: str = FIRST_TONIC, pairing: str = "tonic", keys_a_lesson: int = KEYS_A_LESSON
) -> tuple[tuple[Key, ...], ...]:
    """The keys of each lesson of one round, as this project proposes them: all 24, each once.

    >>> [str(key) for key in proposed(keys_a_lesson=3)[0]]
    ['G major', 'G minor', 'D major']
    """
    keys = [key for pair in pairs(first, pairing) for key in (pair.major, pair.minor)]
    return tuple(
        tuple(keys[place : place + keys_a_lesson]) for place in range(0, len(keys), keys_a_lesson)
    )


def _partner(major: Key, pairing: str) -> Key:
    """The minor key that sounds on the same tonic, or has the same signature."""
    # Twelve fifths are one turn of the circle: places that differ by twelve sound alike.
    fifths = major.fifths + (3 if pairing == "signature" else 0)
    return next(key for key in MINOR_KEYS if (key.fifths - fifths) % 12 == 0)


@dataclass(frozen=True, slots=True)
class Holiday:
    """Days without lessons, both ends included.

    Raises
    ------
    ValueError
        When it ends before it begins, or is longer than ``LONGEST_HOLIDAY_DAYS``.
    """

    first_on: date
    last_on: date

    def __post_init__(self) -> None:
        days = (self.last_on - self.first_on).days + 1
        if not 1 <= days <= LONGEST_HOLIDAY_DAYS:
            raise ValueError(
                f"{self.first_on} to {self.last_on} is {days} days; "
                f"write a last day up to {LONGEST_HOLIDAY_DAYS} days from the first, not before it"
            )

    def holds(self, day: date) -> bool:
        """Whether ``day`` is free of lessons."""
        return self.first_on <= day <= self.last_on


@dataclass(frozen=True, slots=True)
class Rhythm:
    """Lessons on one weekday, every so many weeks.

    Parameters
    ----------
    first_on : a day of the rhythm; all others are whole steps from it, before and after
    every_weeks : 1 to 4
    holidays : days without lessons; a day that falls into one is left out, not moved

    Raises
    ------
    ValueError
        When ``every_weeks`` is out of bounds.
    """

    first_on: date
    every_weeks: int = 1
    holidays: tuple[Holiday, ...] = ()

    def __post_init__(self) -> None:
        low, high = EVERY_WEEKS_BOUNDS
        if not low <= self.every_weeks <= high:
            raise ValueError(f"every {self.every_weeks} weeks is outside {low} to {high}")

    @property
    def step_days(self) -> int:
        return 7 * self.every_weeks

    def days(self, since: date) -> Iterator[date]:
        """The days of lessons from ``since`` on, that day included.

        Raises
        ------
        NoFreeDay
            When the holidays leave none within ``FURTHEST_DAYS``.
        """
        day = since + timedelta(days=(self.first_on - since).days % self.step_days)
        free_since = day
        while True:
            if not any(holiday.holds(day) for holiday in self.holidays):
                free_since = day
                yield day
            elif (day - free_since).days > FURTHEST_DAYS:
                raise NoFreeDay(
                    _("no free day from %(free_since)s on; take a holiday out")
                    % {"free_since": free_since}
                )
            day += timedelta(days=self.step_days)

    def next_days(self, count: int, today: date, last_held: date | None = None) -> list[date]:
        """The days of the next ``count`` lessons, none before ``today`` or the rhythm's first.

        A lesson held a little early or late counts for the nearest day of the rhythm, so the next
        one is at least half a step after it.
        """
        since = max(today, self.first_on)
        if last_held is not None:
            since = max(since, last_held + timedelta(days=(self.step_days + 1) // 2))
        return list(islice(self.days(since), count))


def reordered(open_lessons: Sequence[Lesson], wished: Iterable[Lesson]) -> list[Lesson]:
    """The lessons in a wished order.

    Raises
    ------
    NotTheSameLessons
        When the wish leaves one out, names one twice, or one that is not open.
    """
    wanted = list(wished)
    if len(wanted) != len(open_lessons) or set(wanted) != set(open_lessons):
        raise NotTheSameLessons(
            _(
                "the order names %(wanted)s lessons, %(wanted_2)s of the %(open_lessons)s "
                "that are open; name each of these once"
            )
            % {
                "wanted": len(wanted),
                "wanted_2": len(set(wanted) & set(open_lessons)),
                "open_lessons": len(open_lessons),
            }
        )
    return wanted


WAYS = ("up", "down", "first", "end")


def moved(open_lessons: Sequence[Lesson], lesson: Lesson, way: str) -> list[Lesson]:
    """One lesson moved: a place ``up`` (earlier) or ``down``, to be the ``first``, to the ``end``.

    ``down`` and ``end`` are what skipping a lesson's keys means: the next time, or last of all.
    At the edge nothing moves.

    Raises
    ------
    ValueError
        For an unknown way, or a lesson that is not open.
    """
    if way not in WAYS:
        raise ValueError(f"way {way!r} is not known; write {', '.join(WAYS)}")
    place = list(open_lessons).index(lesson)
    rest = [*open_lessons[:place], *open_lessons[place + 1 :]]
    target = {"up": max(0, place - 1), "down": place + 1, "first": 0, "end": len(rest)}[way]
    return [*rest[:target], lesson, *rest[target:]]

"""The picture of weeks, as plain geometry: a template writes it as SVG, in one ink. Pure.

A column is a week, a row a day of it, and each portion of practice one mark of one size: three
short portions on three days show more than a long one. Nothing is added up, and a week without
practice is blank. Units are those of the picture's own box, ``WIDTH`` by ``HEIGHT``.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from statistics import median

from studio import figures

WEEKS = 16  # shown at once; chosen: a term with the days round it
WIDTH, HEIGHT = 360, 176
LEFT, RIGHT, TOP = 36, 356, 4
COLUMN = (RIGHT - LEFT) / WEEKS  # 20
ROW = 18
MARK = (3.0, 2.4)  # half the width and half the height of a portion's mark
APART = 6.4  # between the marks of one day
MOST_MARKS = 3  # of one day: more stand too near
LENGTHS_AT, MONTHS_AT = TOP + 7 * ROW + 14, TOP + 7 * ROW + 32  # base lines of the two lines below
DAYS_A_WEEK = 7


@dataclass(frozen=True, slots=True)
class Portion:
    """One entry, as far as the picture needs it."""

    day: date
    minutes: int


@dataclass(frozen=True, slots=True)
class Week:
    """A week in which something was practised: the days touched, the portions, their usual
    length in minutes, and the middle of its column."""

    monday: date
    days: int
    portions: int
    usual_min: int
    x: str


@dataclass(frozen=True, slots=True)
class Label:
    at: str
    text: str


@dataclass(frozen=True, slots=True)
class Picture:
    """``marks`` is the path of all portions; ``weeks`` are those with practice alone, the first
    first; ``usual_days`` and ``usual_min`` are of such weeks, 0 where there are none."""

    first: date
    last: date
    marks: str
    weeks: tuple[Week, ...]
    days: tuple[Label, ...]
    months: tuple[Label, ...]
    usual_days: int
    usual_min: int


def first_day(last: date) -> date:
    """The first day of the picture that ends with the week of ``last``.

    >>> first_day(date(2026, 12, 2))
    datetime.date(2026, 8, 17)
    """
    return monday_of(last) - timedelta(weeks=WEEKS - 1)


def last_day(last: date) -> date:
    """The Sunday of the week of a day."""
    return monday_of(last) + timedelta(days=DAYS_A_WEEK - 1)


def monday_of(day: date) -> date:
    return day - timedelta(days=day.weekday())


def picture(portions: Iterable[Portion], last: date) -> Picture:
    """The picture of the weeks up to that of ``last``; portions of other weeks are left out."""
    first, end = first_day(last), last_day(last)
    shown = sorted(
        (one for one in portions if first <= one.day <= end), key=lambda one: (one.day, one.minutes)
    )
    weeks = tuple(
        _week(monday, list(found), first)
        for monday, found in groupby(shown, lambda one: monday_of(one.day))
    )
    return Picture(
        first=first,
        last=end,
        marks="".join(
            _marks(day, len(list(found)), first)
            for day, found in groupby(shown, lambda one: one.day)
        ),
        weeks=weeks,
        days=tuple(
            Label(_at(_y(n) + 4), figures.weekday_short(first + timedelta(n)))
            for n in range(DAYS_A_WEEK)
        ),
        months=_months(first),
        usual_days=_usual([week.days for week in weeks]),
        usual_min=_usual([one.minutes for one in shown]),
    )


def _week(monday: date, found: Sequence[Portion], first: date) -> Week:
    days = len({one.day for one in found})
    minutes = _usual([one.minutes for one in found])
    return Week(monday, days, len(found), minutes, _at(_x(monday, first)))


def _usual(values: Sequence[int]) -> int:
    """The middle one, half a unit up; 0 of nothing."""
    return int(median(values) + 0.5) if values else 0


def _marks(day: date, portions: int, first: date) -> str:
    """The marks of a day, side by side about the middle of its place, as parts of a path."""
    count = min(portions, MOST_MARKS)
    x, y = _x(monday_of(day), first), _y(day.weekday())
    return "".join(_mark(x + APART * (n - (count - 1) / 2), y) for n in range(count))


def _mark(x: float, y: float) -> str:
    """An ellipse: two arcs (SVG 2, 9.3.8), from its left end and back."""
    width, height = MARK
    arc = f"a{_at(width)} {_at(height)} 0 1 1"
    return f"M{_at(x - width)} {_at(y)}{arc} {_at(2 * width)} 0{arc} {_at(-2 * width)} 0"


def _x(monday: date, first: date) -> float:
    return LEFT + COLUMN * ((monday - first).days / DAYS_A_WEEK + 0.5)


def _y(weekday: int) -> float:
    return TOP + ROW * (weekday + 0.5)


def _months(first: date) -> tuple[Label, ...]:
    """The name of each month under the week that holds its first day."""
    mondays = [first + timedelta(weeks=n) for n in range(WEEKS)]
    return tuple(
        Label(_at(_x(monday, first)), figures.month_short(sunday))
        for monday in mondays
        if (sunday := monday + timedelta(days=DAYS_A_WEEK - 1)).day <= DAYS_A_WEEK
    )


def _at(value: float) -> str:
    return figures.decimal(value, 1)

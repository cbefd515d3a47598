"""The picture behind an answer, as plain geometry: a template writes it as SVG, in one ink.

Units are those of the picture's own box, 360 by 220; x runs with the weeks, y with the figure, from
0 at the bottom, where all is in tune. Each point is a week, or several where there are more than
``MOST_POINTS``; its bar is one standard deviation up and down. A line is drawn only where something
is said.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.utils.translation import gettext as _

from studio import figures

from .playings import monday_of
from .trends import Answers, Point, Trend
from .wording import amount

WIDTH, HEIGHT = 360, 220
LEFT, RIGHT, TOP, BOTTOM = 30, 350, 12, 192
MOST_POINTS = 40  # chosen: more stand too near to be pressed
FEWEST_WEEKS_WIDE = 4  # chosen: one point stands in the middle, not at the edge
TICKS = 4  # at most, beside 0
STEPS = (1, 2, 5, 10, 20, 25, 50, 100)
MOST_MONTHS = 5  # names under the picture, at most
A_YEAR = 12  # months: beyond it a month's name needs its year
HEADROOM = 1.05


@dataclass(frozen=True, slots=True)
class Dot:
    """A point: where, how far its bar reaches, what it says, and which moment it opens."""

    x: str
    y: str
    low: str
    high: str
    has_bar: bool
    when: str
    value: str
    playings: str
    clip: UUID | str
    at: str


@dataclass(frozen=True, slots=True)
class Tick:
    """A label at the side or below: where, and its text."""

    at: str
    text: str


@dataclass(frozen=True, slots=True)
class Chart:
    dots: tuple[Dot, ...]
    values: tuple[Tick, ...]
    months: tuple[Tick, ...]
    line: tuple[str, ...] | None
    band: str  # the points of a polygon: the line, as much steeper and flatter as it may be
    weeks: int
    unit: str


@dataclass(frozen=True, slots=True)
class Fitted:
    """A line that may be drawn: its weeks, its height there, one standard deviation there."""

    first: float
    last: float
    start: float
    end: float
    early: float
    late: float


def chart_of(found: Answers, trend: Trend, measure: str) -> Chart:
    """The picture of one answer; without points where nothing was played."""
    clips = [each.clip for each in found.playings.clips]
    return drawn(found.points(trend, MOST_POINTS), fitted(trend), measure, clips)


def fitted(trend: Trend) -> Fitted | None:
    """The line of an answer; ``None`` where none may be drawn."""
    if trend.line is None or trend.slope is None:
        return None
    return Fitted(trend.slope.first, trend.slope.last, *trend.line, *trend.line_doubts)


def drawn(
    points: Sequence[Point], fit: Fitted | None, measure: str, clips: Sequence[UUID | str] = ()
) -> Chart:
    """The picture of some points; without ``clips`` none of them opens a moment."""
    if not points:
        return Chart((), (), (), None, "", 1, "")
    first, last = points[0].week, points[-1].week
    spare = max(0, FEWEST_WEEKS_WIDE - (last - first)) / 2
    x = _scale(first - spare, last + spare, LEFT + 8, RIGHT - 8)
    step, top = _steps(max(point.value + (point.doubt or 0.0) for point in points))
    y = _scale(0.0, top, BOTTOM, TOP)
    line, band = _line(fit, x, y)
    return Chart(
        dots=tuple(
            _dot(point, clips[point.clip] if clips else "", x, y, measure) for point in points
        ),
        values=tuple(
            Tick(_at(y(n * step)), figures.number(n * step)) for n in range(int(top / step) + 1)
        ),
        months=_months(first, last, x),
        line=line,
        band=band,
        weeks=points[0].weeks,
        unit="dB" if measure == "balance" else "cents",
    )


def _line(
    fit: Fitted | None, x: Callable[[float], float], y: Callable[[float], float]
) -> tuple[tuple[str, ...] | None, str]:
    """The ends of the line and the polygon of its doubt; nothing where none may be drawn."""
    if fit is None:
        return None, ""
    first, last = x(fit.first), x(fit.last)
    corners = (
        *((first, fit.start + fit.early), (last, fit.end - fit.late)),
        *((last, fit.end + fit.late), (first, fit.start - fit.early)),
    )
    band = " ".join(f"{_at(px)},{_at(y(max(value, 0.0)))}" for px, value in corners)
    return tuple(_at(each) for each in (first, y(fit.start), last, y(fit.end))), band


def _scale(low: float, high: float, start: float, end: float) -> Callable[[float], float]:
    return lambda value: start + (end - start) * (value - low) / (high - low)


def _steps(most: float) -> tuple[int, float]:
    """The distance of the ticks, and the top of the picture."""
    most = max(most * HEADROOM, 4.0)
    step = next((each for each in STEPS if most / each <= TICKS), STEPS[-1])
    return step, step * math.ceil(most / step)


def _dot(
    point: Point,
    clip: UUID | str,
    x: Callable[[float], float],
    y: Callable[[float], float],
    measure: str,
) -> Dot:
    doubt = point.doubt or 0.0
    return Dot(
        x=_at(x(point.week)),
        y=_at(y(point.value)),
        low=_at(y(max(point.value - doubt, 0.0))),
        high=_at(y(point.value + doubt)),
        has_bar=point.doubt is not None,
        when=_when(point),
        value=amount(point.value, point.doubt, measure),
        playings=figures.count(point.playings, "playing", "playings"),
        clip=clip,
        at=figures.decimal(point.at_s),
    )


def _when(point: Point) -> str:
    day = figures.long_date(monday_of(point.week))
    return (
        _("Week of %(day)s") % {"day": day}
        if point.weeks == 1
        else _("%(weeks)s weeks from %(day)s") % {"weeks": point.weeks, "day": day}
    )


def _months(first: int, last: int, x: Callable[[float], float]) -> tuple[Tick, ...]:
    """Names of months under their beginnings, not too many of them."""
    begin, end = monday_of(first), monday_of(last + 1)
    months = (end.year - begin.year) * 12 + end.month - begin.month + 1
    every = math.ceil(months / MOST_MONTHS)
    ticks = []
    for n in range(0, months, every):
        year, month = divmod(begin.year * 12 + begin.month - 1 + n, 12)
        day = max(date(year, month + 1, 1), begin)
        place = x((day.toordinal() - 1) / 7)
        if place <= RIGHT:
            ticks.append(Tick(_at(place), figures.month_short(day, with_year=months > A_YEAR)))
    return tuple(ticks)


def _at(value: float) -> str:
    return figures.decimal(value, 1)

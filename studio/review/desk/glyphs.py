"""The small lift of a row: each playing of a run as a dash above or below a line.

Pure geometry for an inline SVG, in its own units (about CSS pixels). The line is the target,
two hairlines the tolerance. Beyond ``LIMIT_CENTS`` a dash stays at the edge and is open
towards it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

HEIGHT = 44.0
MIDDLE = HEIGHT / 2
LIMIT_CENTS = 50.0  # a quarter tone: beyond it the next semitone is nearer
UNITS_PER_CENT = (MIDDLE - 4.0) / LIMIT_CENTS
SLOT = 20.0
DASH = 13.0
LEAST_SLOTS = 2
MOST_SLOTS = 8  # the last ones; more would not be read


@dataclass(frozen=True, slots=True)
class Dash:
    """One playing. ``top`` and ``bottom`` bound two standard deviations of uncertainty."""

    x1: float
    x2: float
    middle: float
    y: float
    top: float
    bottom: float
    last: bool
    unsure: bool
    beyond: int


@dataclass(frozen=True, slots=True)
class Lift:
    """``band`` holds the y of the two hairlines, or is ``None`` where nothing is judged."""

    width: float
    height: float
    middle: float
    band: tuple[float, float] | None
    dashes: tuple[Dash, ...]

    @property
    def path(self) -> str:
        """The way from playing to playing, for a polyline."""
        return " ".join(f"{dash.middle:g},{dash.y:g}" for dash in self.dashes)


def y_of(cents: float) -> float:
    """Sharp and wide go up; beyond the limit the edge."""
    held = min(max(cents, -LIMIT_CENTS), LIMIT_CENTS)
    return round(MIDDLE - held * UNITS_PER_CENT, 1)


def lift(
    deviations: Sequence[tuple[float | None, float | None, bool]], tolerance_cents: float | None
) -> Lift:
    """The lift of a run from (deviation, uncertainty, unsure) of each playing, in cents."""
    shown = [d for d in deviations if d[0] is not None][-MOST_SLOTS:]
    slots = max(len(shown), LEAST_SLOTS)
    # From the right, so that the last playings of all rows stand in one column.
    first = slots - len(shown)
    dashes = tuple(
        _dash(first + index, cents, uncertainty or 0.0, unsure, index == len(shown) - 1)
        for index, (cents, uncertainty, unsure) in enumerate(shown)
        if cents is not None
    )
    band = (y_of(tolerance_cents), y_of(-tolerance_cents)) if tolerance_cents else None
    return Lift(SLOT * slots, HEIGHT, MIDDLE, band, dashes)


def _dash(index: int, cents: float, uncertainty: float, unsure: bool, last: bool) -> Dash:
    left = SLOT * index + (SLOT - DASH) / 2
    return Dash(
        x1=left,
        x2=left + DASH,
        middle=left + DASH / 2,
        y=y_of(cents),
        top=y_of(cents + 2 * uncertainty),
        bottom=y_of(cents - 2 * uncertainty),
        last=last,
        unsure=unsure,
        beyond=(cents > LIMIT_CENTS) - (cents < -LIMIT_CENTS),
    )

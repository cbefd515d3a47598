"""The small lift of a row: each playing of a run as a dash above or below a line.

Pure geometry for an inline SVG, in its own units (about CSS pixels), as path data ready to be
written out. The line is the target, two hairlines the tolerance. Beyond ``LIMIT_CENTS`` a dash
stays at the edge.
"""

from collections.abc import Sequence
from dataclasses import dataclass

HEIGHT = 44
MIDDLE = HEIGHT / 2
LIMIT_CENTS = 50.0  # a quarter tone: beyond it the next semitone is nearer
UNITS_PER_CENT = (MIDDLE - 4.0) / LIMIT_CENTS
SLOT = 20
DASH = 13
LEAST_SLOTS = 2
MOST_SLOTS = 8  # the last ones; more would not be read


@dataclass(frozen=True, slots=True)
class Lift:
    """Path data. ``hairs`` bound what is in tune, empty where nothing is judged; ``way`` leads
    from playing to playing, ``give`` spans two standard deviations either way; ``earlier`` and
    ``last`` are the dashes. ``unsure`` is about the last one.
    """

    width: str
    height: str
    target: str
    hairs: str
    way: str
    give: str
    earlier: str
    last: str
    unsure: bool


def y_of(cents: float) -> float:
    """Sharp and wide go up; beyond the limit the edge."""
    held = min(max(cents, -LIMIT_CENTS), LIMIT_CENTS)
    return round(MIDDLE - held * UNITS_PER_CENT, 1)


def lift(
    playings: Sequence[tuple[float, float | None, bool]], tolerance_cents: float | None
) -> Lift:
    """The lift of a run from (deviation, uncertainty, unsure) of each playing, in cents."""
    shown = playings[-MOST_SLOTS:]
    slots = max(len(shown), LEAST_SLOTS)
    # From the right, so that the last playings of all rows stand in one column.
    lefts = [SLOT * (slots - len(shown) + n) + (SLOT - DASH) / 2 for n in range(len(shown))]
    dashes = [f"M{x:g} {y_of(c):g}h{DASH}" for x, (c, _, _) in zip(lefts, shown, strict=True)]
    middles = [x + DASH / 2 for x in lefts]
    points = [f"{x:g} {y_of(c):g}" for x, (c, _, _) in zip(middles, shown, strict=True)]
    width = SLOT * slots
    band = (tolerance_cents, -tolerance_cents) if tolerance_cents else ()
    return Lift(
        width=str(width),
        height=str(HEIGHT),
        target=f"M0 {MIDDLE:g}h{width}",
        hairs="".join(f"M0 {y_of(cents):g}h{width}" for cents in band),
        way="M" + "L".join(points) if len(points) > 1 else "",
        give="".join(_give(x, c, u) for x, (c, u, _) in zip(middles, shown, strict=True) if u),
        earlier="".join(dashes[:-1]),
        last=dashes[-1] if dashes else "",
        unsure=bool(shown) and shown[-1][2],
    )


def _give(x: float, cents: float, uncertainty: float) -> str:
    top, bottom = y_of(cents + 2 * uncertainty), y_of(cents - 2 * uncertainty)
    return f"M{x:g} {top:g}V{bottom:g}"

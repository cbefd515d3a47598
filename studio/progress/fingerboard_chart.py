"""The map of the fingerboard as plain geometry and words; a template writes it as SVG, in one ink.

Strings are columns, the lowest at the left, the nut at the top, as a player's own charts have them
(common practice, no source); each row is a semitone. What is sharp stands as a triangle that points
up, as a higher note does on a page; words say it too, and the table has all of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from studio import figures

from .fingerboard import FLAT, IN_TUNE, SHARP, Spot
from .playings import PlayedClip

LEFT, TOP, COLUMN, ROW = 46, 40, 74, 26  # of the picture's own box; 24 and more can be pressed
FEWEST_ROWS = 7  # first position, with the fourth finger reaching: so that few places look alike
HALF = 7  # of a sign's width
# How the notes of open strings and their semitones are spelled where nothing else says it.
NAMES = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "G♯", "A", "B♭", "B")


@dataclass(frozen=True, slots=True)
class Sign:
    """One place: where it is drawn, what it says, and which moment it opens."""

    x: int
    y: int
    outcome: str
    points: str  # of the triangle, where it is one
    note: str
    place: str
    value: str
    played: str
    clip: UUID | str
    at: str


@dataclass(frozen=True, slots=True)
class Line:
    at: int
    name: str


@dataclass(frozen=True, slots=True)
class FingerboardChart:
    width: int
    height: int
    strings: tuple[Line, ...]
    rows: tuple[Line, ...]
    signs: tuple[Sign, ...]

    @property
    def middle(self) -> int:
        """Where a sign's words stand."""
        return self.width // 2


def chart_of_spots(spots: Sequence[Spot], clips: Sequence[PlayedClip]) -> FingerboardChart | None:
    """``None`` where no place is known."""
    if not spots:
        return None
    strings = _strings({spot.string for spot in spots})
    last = max(FEWEST_ROWS, *(spot.stop for spot in spots))
    x = {midi: LEFT + COLUMN // 2 + COLUMN * n for n, midi in enumerate(strings)}
    return FingerboardChart(
        width=LEFT + COLUMN * len(strings),
        height=TOP + ROW * last + ROW // 2 + 6,
        strings=tuple(Line(x[midi], note_name(midi)) for midi in strings),
        rows=tuple(Line(TOP + ROW * n, str(n)) for n in range(last + 1)),
        signs=tuple(_sign(spot, x[spot.string], clips[spot.clip]) for spot in spots),
    )


def _strings(played: set[int]) -> list[int]:
    """All between the lowest and the highest that were played, a fifth apart."""
    low, high = min(played), max(played)
    return sorted(played | set(range(low, high + 1, 7)))


def _sign(spot: Spot, x: int, clip: PlayedClip) -> Sign:
    y = TOP + ROW * spot.stop
    return Sign(
        x=x,
        y=y,
        outcome=spot.outcome,
        points=_triangle(x, y, spot.outcome),
        note=note_name(spot.string + spot.stop),
        place=place_of(spot),
        value=value_of(spot),
        played=ngettext("%(count)d playing", "%(count)d playings", spot.notes)
        % {"count": spot.notes},
        clip=clip.clip,
        at=figures.decimal(spot.at_s),
    )


def _triangle(x: int, y: int, outcome: str) -> str:
    way = {SHARP: -1, FLAT: 1}.get(outcome)
    if way is None:
        return ""
    return (
        f"{x - HALF},{y - way * (HALF - 2)} {x + HALF},{y - way * (HALF - 2)} {x},{y + way * HALF}"
    )


def place_of(spot: Spot) -> str:
    """``on the D string, 4 semitones up``"""
    return ngettext(
        "on the %(string)s string, %(stop)d semitone up",
        "on the %(string)s string, %(stop)d semitones up",
        spot.stop,
    ) % {"string": letter(spot.string), "stop": spot.stop}


def value_of(spot: Spot) -> str:
    """``9 ± 3 cents sharp``, ``in tune, within 8 cents``, ``not clear yet``"""
    by = figures.cents(abs(spot.off), spot.doubt)
    if spot.outcome == SHARP:
        return _("%(by)s sharp") % {"by": by}
    if spot.outcome == FLAT:
        return _("%(by)s flat") % {"by": by}
    return _("in tune") if spot.outcome == IN_TUNE else _("not clear yet")


def note_name(midi: int) -> str:
    """``F♯4``

    >>> note_name(66), note_name(55)
    ('F♯4', 'G3')
    """
    return f"{letter(midi)}{midi // 12 - 1}"


def letter(midi: int) -> str:
    return NAMES[midi % 12]

"""What a ledger is made of: blocks (a run, a chord, single notes) and a row for each event.

A block's *lift* (:func:`lift`) is each playing of its run as a dash above or below a line: pure
geometry for an inline SVG, in its own units (about CSS pixels), as path data ready to be written
out. The line is the target, two hairlines the tolerance. Beyond ``LIMIT_CENTS`` a dash stays at the
edge.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from django.utils.safestring import SafeString

from studio import figures
from studio.review.marks.mark import Mark
from studio.review.models import Comment, Decision, HandMark

from . import words

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


@dataclass(slots=True)
class Row:
    """One event: something to point at, to press and to play."""

    event: int
    start_s: float
    end_s: float
    clock: str
    name: str
    deviation: str = ""
    plus_minus: str = ""
    verdict: str = ""
    reason: str = ""
    also: tuple[str, ...] = ()
    last: bool = False
    voices: int = 1
    cents: float | None = None  # the deviation, where it was measured
    uncertainty_cents: float | None = None

    @property
    def key(self) -> str:
        return str(self.event)

    @property
    def start(self) -> str:
        """Seconds as the page carries them, to the millisecond."""
        return figures.decimal(self.start_s)

    @property
    def end(self) -> str:
        return figures.decimal(self.end_s)

    @property
    def spoken(self) -> str:
        """The row for a screen reader."""
        figure = f"{self.deviation} {self.plus_minus}".strip() if self.deviation else ""
        parts = (self.clock, self.name, figure, words.VERDICT_WORDS.get(self.verdict, ""))
        return ", ".join(str(part) for part in parts if part)


@dataclass(slots=True)
class Block:
    key: str
    kind: str  # run, chord, singles or whole
    start_s: float
    end_s: float
    name: str = ""
    ref: str = ""  # what is written there, where the clip answers a drill's page
    rows: list[Row] = field(default_factory=list)
    singles: list[Row] = field(default_factory=list)
    lift: Lift | None = None
    trend: str = ""
    broken: str = ""
    said: list[str] = field(default_factory=list)  # of the run, beside its marks
    markup: SafeString = field(default=SafeString(), repr=False)
    alone: SafeString = field(default=SafeString(), repr=False)  # with nothing put into it
    marks: list[Mark] = field(default_factory=list)
    kept: list[Decision] = field(default_factory=list)
    comments: list[Comment] = field(default_factory=list)
    by_hand: list[HandMark] = field(default_factory=list)

    @property
    def clock(self) -> str:
        return figures.place(self.start_s)

    @property
    def last(self) -> Row | None:
        return self.rows[-1] if self.rows else None

    def anchor(self, row: Row) -> str:
        """The id of a playing's row on the page: a single one is shown by the head alone."""
        return f"e{row.event}" if len(self.rows) > 1 else f"{self.key}-head"

    @property
    def bare(self) -> bool:
        """Whether nothing but the judgement speaks here: most blocks of a long clip."""
        return bool(self.alone) and not (self.marks or self.kept or self.comments or self.by_hand)

    @property
    def weight(self) -> str:
        """How the block stands out: ``marked``, ``dropped`` or empty."""
        kept = self.kept or self.by_hand
        loud = [mark for mark in self.marks if mark.counts]
        if kept or any(mark.choice != Decision.Choice.DROPPED for mark in loud):
            return "marked"
        return "dropped" if loud else ""

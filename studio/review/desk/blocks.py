"""What a ledger is made of: blocks (a run, a chord, single notes) and a row for each event."""

from dataclasses import dataclass, field

from django.utils.safestring import SafeString

from studio import figures
from studio.review.marks import Mark
from studio.review.models import Comment, Decision, HandMark

from . import words
from .glyphs import Lift


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
        return ", ".join(part for part in parts if part)


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
        if kept or any(mark.choice != Decision.Choice.DROPPED for mark in self.marks):
            return "marked"
        return "dropped" if self.marks else ""

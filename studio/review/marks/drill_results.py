"""What a clip showed of the drill that it answers: figures for each written note, and the goal.

The plain form (:func:`of`) is frozen with a return, so that the pupil's page shows what was
returned, whatever is heard or judged anew later.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass

from django.utils.translation import gettext as _

from studio import figures
from studio.drills.models import Assignment
from studio.notation.engraving import Figure
from studio.notation.naming import short_name
from studio.translating import gettext_lazy

from . import pace
from .judging import Judged
from .pace import Pace

STATES = {
    "apart": gettext_lazy("only its notes one by one"),
    "wrong": gettext_lazy("something else was played"),
    "missed": gettext_lazy("left out"),
    "not_reached": gettext_lazy("not reached"),
}


@dataclass(frozen=True, slots=True)
class Note:
    """One written double stop or lone note. Cents are signed, wide and sharp positive."""

    ref: str
    bar: int
    name: str
    voices: int
    state: str
    playings: int
    last_cents: float | None
    best_cents: float | None
    uncertainty_cents: float | None
    reached: bool

    @property
    def figure(self) -> Figure | None:
        """What stands under the staff: the last playing, and the best in brackets."""
        if self.last_cents is None:
            return None
        best = "" if self.best_cents is None else figures.signed(self.best_cents)
        last = figures.signed(self.last_cents)
        return Figure(self.last_cents, last if best in ("", last) else f"{last} ({best})")

    @property
    def in_words(self) -> str:
        """The same for lists and screen readers."""
        if self.last_cents is None:
            return STATES.get(self.state, _("could not be measured"))
        last = self._way(self.last_cents, self.uncertainty_cents)
        if figures.signed(self.best_cents or 0.0) == figures.signed(self.last_cents):
            return f"last {last}"
        return f"last {last}, best {self._way(self.best_cents or 0.0)}"

    def _way(self, cents: float, uncertainty: float | None = None) -> str:
        up, down = ("wide", "narrow") if self.voices > 1 else ("sharp", "flat")
        way = "off" if figures.rounds_to_nothing(cents) else up if cents > 0 else down
        return f"{figures.cents(cents, uncertainty)} {way}"


@dataclass(frozen=True, slots=True)
class Shown:
    """All of it, for a page."""

    notes: tuple[Note, ...]
    pace: tuple[Pace, ...] = ()

    @property
    def figures(self) -> dict[str, Figure]:
        return {note.ref: note.figure for note in self.notes if note.figure}

    @property
    def spoken(self) -> dict[str, str]:
        return {note.ref: note.in_words for note in self.notes}

    @property
    def reached(self) -> int:
        return sum(note.reached for note in self.notes)

    @property
    def left_out(self) -> int:
        return sum(note.playings == 0 for note in self.notes)

    def reaches(self, assignment: Assignment) -> bool:
        """Whether the assignment's goal was reached."""
        return self.reached >= assignment.needed_of(len(self.notes))

    @classmethod
    def from_dict(cls, stored: Mapping | None) -> "Shown | None":
        """What a return froze; ``None`` where its clip answered no drill with a page."""
        if not stored:
            return None
        return cls(tuple(Note(**note) for note in stored["notes"]), pace.from_plain(stored))


def of(judged: Judged) -> dict | None:
    """The plain form of what a judged clip showed; ``None`` without a drill's page."""
    following, answers = judged.judgement.get("following"), judged.review.answers
    score = answers.version.page if answers else None
    if not following or score is None:
        return None
    got = {note["ref"]: note for note in following["notes"]}
    reader = _Reader(judged, answers)
    written = [item for item in score.written if item.manner != "separate" and item.id in got]
    notes = [reader.note(item, got[item.id]) for item in written]
    given_way = pace.plain(judged, score)
    return {
        "notes": [asdict(note) for note in notes],
        **({"pace": given_way} if given_way else {}),
    }


class _Reader:
    def __init__(self, judged: Judged, assignment: Assignment):
        self.playings = assignment.playings or 1
        self.tolerances = judged.judgement["policy"]["tolerance_cents"]
        self.rows = {row["event"]: row for row in reversed(judged.judgement["intervals"])}
        self.doubts = {
            event["id"]: max(row["uncertainty_cents"] for row in event["intervals"])
            for event in judged.measurement["events"]
            if event["intervals"]
        }

    def note(self, item, got: Mapping) -> Note:
        measured = got["measured"]
        return Note(
            ref=item.id,
            bar=item.bar,
            name=short_name(item),
            voices=len(item.pitches),
            state=got["state"],
            playings=len(got["playings"]),
            last_cents=got["last_cents"],
            best_cents=got["best_cents"],
            uncertainty_cents=self.doubts.get(measured[-1]) if measured else None,
            reached=self._reached(got),
        )

    def _reached(self, got: Mapping) -> bool:
        """Whether its last playing was within the tolerance, and it was played often enough."""
        if got["last_cents"] is None or len(got["playings"]) < self.playings:
            return False
        row = self.rows.get(got["measured"][-1])
        tolerance = self.tolerances.get(row["short"]) if row else None
        return tolerance is not None and abs(got["last_cents"]) <= tolerance

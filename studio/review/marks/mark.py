"""Marks and what the teacher decided about them.

A mark is a proposal; it is computed anew from the stored measurement. A decision is a row. The
two find each other by what they are about: the same code, overlapping in time, with the same
pitches (MIDI numbers, one semitone of leeway, because a newer engine may hear a
badly mistuned note as its neighbour).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from studio.review.models import Decision
from studio.theory import Interval

from .audit_figures import Share

PITCH_LEEWAY_SEMITONES = 1


@dataclass(frozen=True, slots=True)
class Mark:
    """One proposed mark, with the teacher's decision when there is one.

    ``start_s`` and ``end_s`` are on the clip's time axis; ``midis`` run from low to high;
    ``severity`` is 1 to 3; ``rank`` its place by importance, 1 the first to be said. ``quiet`` is
    how many marks of its kind were right in the studio's audit, where it is proposed quietly.
    """

    id: int
    code: str
    start_s: float
    end_s: float
    midis: tuple[int, ...]
    sentence: str
    severity: int
    params: dict
    events: tuple[int, ...]
    run: int | None = None
    rank: int = 0
    decision: Decision | None = None
    quiet: Share | None = None

    @property
    def counts(self) -> bool:
        """Whether it is among what was found: a quiet one once it is kept."""
        return self.quiet is None or self.choice == Decision.Choice.KEPT

    @property
    def choice(self) -> str:
        """``kept``, ``dropped`` or empty while undecided."""
        return self.decision.choice if self.decision else ""

    @property
    def shown(self) -> tuple[float, float]:
        """The span as it is shown, in seconds: the teacher's where there is one."""
        own = self.decision.own_span if self.decision else None
        return own or (self.start_s, self.end_s)

    @property
    def is_sized(self) -> bool:
        """Whether it is about an interval's size."""
        return self.code.startswith("interval_") and bool(self.params.get("interval"))

    @property
    def kind(self) -> str:
        """What marks have in common that can be decided together: ``interval_wide:P8``."""
        return f"{self.code}:{self.params.get('interval') or ''}"

    @property
    def about(self) -> str:
        """The moment and its notes: what a page names a mark by, because numbers move on.

        ``interval_wide:4.250:60-72`` is the same mark under another tolerance.
        """
        return f"{self.code}:{self.start_s:.3f}:{'-'.join(map(str, self.midis))}"

    @property
    def words(self) -> str:
        """The teacher's words where there are any, else the program's."""
        return (self.decision.words if self.decision else "") or self.sentence


def from_judgement(measurement: dict, judgement: dict) -> list[Mark]:
    """The marks of a judgement (JSON form) in time order."""
    events = {event["id"]: event for event in measurement["events"]}
    marks = [_mark(raw, events) for raw in judgement["marks"]]
    return sorted(marks, key=lambda mark: (mark.start_s, mark.id))


def with_decisions(
    marks: Sequence[Mark], decisions: Iterable[Decision]
) -> tuple[list[Mark], list[Decision]]:
    """Marks with the decisions that belong to them, and the decisions that found no mark."""
    left = sorted(decisions, key=lambda decision: (decision.decided_at, decision.pk), reverse=True)
    paired = []
    for mark in marks:
        found = max(
            (decision for decision in left if _same_moment(mark, decision)),
            key=lambda decision: _overlap_s(mark, decision),
            default=None,
        )
        if found is not None:
            left.remove(found)
        paired.append(replace(mark, decision=found))
    return paired, left


def decided(mark: Mark, decisions: Iterable[Decision]) -> Decision | None:
    """The decision that stands for a mark, among those of its review."""
    return with_decisions([mark], decisions)[0][0].decision


def _mark(raw: dict, events: dict[int, dict]) -> Mark:
    voices = [voice for pk in raw["events"][-1:] for voice in events[pk]["voices"]]
    return Mark(
        id=raw["id"],
        code=raw["code"],
        start_s=raw["start_s"],
        end_s=raw["end_s"],
        midis=tuple(voice["midi"] for voice in voices),
        sentence=raw["sentence"],
        severity=raw["severity"],
        params=raw["params"],
        events=tuple(raw["events"]),
        run=raw["run"],
        rank=raw.get("rank", 0),
    )


def _same_moment(mark: Mark, decision: Decision) -> bool:
    if mark.code != decision.code:  # what was kept as wide is not said as narrow
        return False
    if len(mark.midis) != len(decision.midis) or _overlap_s(mark, decision) < 0:
        return False
    return all(
        abs(heard - decided) <= PITCH_LEEWAY_SEMITONES
        for heard, decided in zip(mark.midis, decision.midis, strict=True)
    )


def _overlap_s(mark: Mark, decision: Decision) -> float:
    return min(mark.end_s, decision.end_s) - max(mark.start_s, decision.start_s)


def kind_of(short: str) -> str:
    """The plural of an interval's everyday name: ``octaves``, ``major sixths``."""
    return f"{Interval.parse(short).everyday}s"

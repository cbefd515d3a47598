"""How right a following is. The definitions stand at the top of ``tests.benchmarks.follower``."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from studio.intonation import ExpectedNote, Following, Measurement
from studio.intonation.alignment.follower import following_of
from studio.intonation.alignment.hidden_markov_model import Expected
from studio.intonation.model.measurement import Event
from studio.intonation.model.score_following import FollowedEvent
from tests.benchmarks.practising.walk import Sounded

OVERLAP = 0.5  # of the shorter of the two


@dataclass(slots=True)
class Score:
    """Counts of one clip or of many, and how far each onset was off, in seconds."""

    counts: Counter[str] = field(default_factory=Counter)
    onsets_s: list[float] = field(default_factory=list)
    duration_s: float = 0.0
    listening_s: float = 0.0
    following_s: float = 0.0

    def add(self, other: "Score") -> None:
        """Pool another clip."""
        self.counts.update(other.counts)
        self.onsets_s += other.onsets_s
        self.duration_s += other.duration_s
        self.listening_s += other.listening_s
        self.following_s += other.following_s


def f1(found: int, false: int, missed: int) -> float:
    """2 TP / (2 TP + FP + FN); 1 where there was nothing to find and nothing was found."""
    return 2 * found / (2 * found + false + missed) if found + false + missed else 1.0


def score(
    played: Sequence[Sounded],
    measurement: Measurement,
    following: Following,
    *,
    only_heard: bool = False,
) -> Score:
    """Compare a following with what was played.

    ``only_heard`` leaves out what the measurement does not hold at all: that is not the follower's
    to find.
    """
    result = Score()
    rows = {row.event: row for row in following.events}
    pairs = [
        (true, [event for event in measurement.events if _overlap(true, event)]) for true in played
    ]
    if only_heard:
        pairs = [(true, near) for true, near in pairs if near]
    for true, near in pairs:
        _score_played(result, true, near, rows)
    for event in measurement.events:
        _score_heard(result, event, rows[event.id], played)
    _score_notes(result, [true for true, _ in pairs], following)
    return result


def _overlap(true: Sounded, event: Event) -> bool:
    shared = min(true.end_s, event.end_s) - max(true.start_s, event.start_s)
    return shared >= OVERLAP * min(true.end_s - true.start_s, event.end_s - event.start_s)


def _score_played(
    result: Score, true: Sounded, near: list[Event], rows: dict[int, FollowedEvent]
) -> None:
    if true.note is None:
        return
    mine = [event for event in near if rows[event.id].note == true.note]
    result.counts["found" if mine else "not found"] += 1
    if mine:
        result.onsets_s.append(min(event.start_s for event in mine) - true.start_s)
    if true.state == "wrong":
        named = any(rows[event.id].state == "wrong" for event in mine)
        result.counts["wrong named" if named else "wrong not named"] += 1


def _score_heard(
    result: Score, event: Event, row: FollowedEvent, played: Sequence[Sounded]
) -> None:
    if row.note is None:
        return
    near = [true for true in played if _overlap(true, event)]
    if not any(true.note == row.note for true in near):
        result.counts["false"] += 1
    if row.state == "wrong" and not any(
        true.state == "wrong" and true.note == row.note for true in near
    ):
        result.counts["wrong falsely"] += 1


def _score_notes(result: Score, played: Sequence[Sounded], following: Following) -> None:
    """Which notes were left out, as the same rules say it of what was really played."""
    truth = truth_of(following.score, played)
    true = {note.note for note in truth.missed}
    said = {note.note for note in following.missed}
    result.counts["missed named"] += len(true & said)
    result.counts["missed not named"] += len(true - said)
    result.counts["missed falsely"] += len(said - true)


def truth_of(score: Sequence[ExpectedNote], played: Sequence[Sounded]) -> Following:
    """The following that a perfect follower gives."""
    rows = [
        FollowedEvent(number, "extra" if true.note is None else true.state, true.note)
        for number, true in enumerate(played)
    ]
    return following_of(Expected(score), rows)

"""How right an answer to a real movement is. The definitions are those at the top of
``tests.benchmarks.intonation``; scores are plain values that pass between processes.

What a listener says is taken as *stretches*: spans and the pitches reported in them. Ours are the
events; those of a listener that answers in notes or frames are where its pitches stay the same.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import groupby

import numpy as np

from studio.intonation.model.measurement import Event
from tests.benchmarks.ear.hearing import HOP_S, Heard
from tests.benchmarks.ear.material import SR
from tests.benchmarks.ear.phase_reader import read
from tests.benchmarks.ear.real import Labels, Span
from tests.intonation.synth import cents

SAME_CENTS = 60.0  # of the score's note; players are not tempered
LEAST_S, LEAST_SHARE = 0.15, 0.5  # of a pair's span, whichever is less
GROSS_CENTS = 50.0
LEAST_OVERLAP = 0.5  # of a single note's span


@dataclass(frozen=True, slots=True)
class Stretch:
    """Pitches (Hz, from low to high) reported at once, and what was said of their interval."""

    start_s: float
    end_s: float
    f0s_hz: tuple[float, ...]
    unsure: bool = False


@dataclass(frozen=True, slots=True)
class PairScore:
    """One labelled pair. ``unsure`` is told of found ones; frames are those inside the span."""

    label: Span
    found: bool
    unsure: bool
    frames: int
    frames_found: int
    frames_exactly: int


@dataclass(frozen=True, slots=True)
class SingleScore:
    """One labelled single note: our pitch less the reader's, in cents; ``None``: not to tell."""

    label: Span
    outcome: str  # heard, other (as more notes, or not at all), short (too short to be read)
    error_cents: float | None = None
    stated_cents: float | None = None
    reader_cents: float | None = None


@dataclass(slots=True)
class MovementScore:
    """One movement heard by one listener at one setting."""

    movement: str
    player: str
    duration_s: float
    cpu_s: float = 0.0
    setting: str = ""
    left_out: bool = False  # the player, of what was fitted
    pairs: list[PairScore] = field(default_factory=list)
    line_s: float = 0.0
    false_s: float = 0.0
    line_frames: int = 0
    false_frames: int = 0
    marks: int = 0
    line_marks: int = 0
    single_line: bool = False
    singles: list[SingleScore] = field(default_factory=list)


def stretches_of_events(events: Iterable[Event]) -> list[Stretch]:
    """Our events."""
    found = []
    for event in events:
        f0s = tuple(voice.f0_hz for voice in event.voices)
        unsure = bool(event.intervals) and event.intervals[0].uncertainty_cents is None
        found.append(Stretch(event.start_s, event.end_s, f0s, unsure))
    return found


def stretches_of_frames(frames: Sequence[np.ndarray]) -> list[Stretch]:
    """Frames with the same pitches, one after the other; a frame lasts to the next."""
    found, at = [], 0
    for f0s, same in groupby(tuple(map(float, frame)) for frame in frames):
        count = len(list(same))
        if f0s:
            found.append(Stretch(at * HOP_S, (at + count) * HOP_S, f0s))
        at += count
    return found


def score_movement(
    result: MovementScore,
    labels: Labels,
    stretches: Sequence[Stretch],
    frames: Sequence[np.ndarray],
) -> MovementScore:
    """Fill in pairs and single line: events by ``stretches``, frame by frame by ``frames``."""
    result.pairs = [score_pair(label, stretches, frames) for label in labels.pairs]
    result.single_line = labels.single_line
    for start_s, end_s in labels.line:
        result.line_s += end_s - start_s
        several = [s for s in stretches if len(s.f0s_hz) > 1]
        result.false_s += sum(_shared_s(s, start_s, end_s) for s in several)
        inside = _inside(frames, start_s, end_s)
        result.line_frames += len(inside)
        result.false_frames += sum(len(frame) > 1 for frame in inside)
    return result


def score_pair(
    label: Span, stretches: Sequence[Stretch], frames: Sequence[np.ndarray]
) -> PairScore:
    """One pair: found when exactly its notes are reported for long enough of its span."""
    right = [s for s in stretches if is_exactly(s.f0s_hz, label.f0s_hz)]
    shared = [(_shared_s(s, label.start_s, label.end_s), s.unsure) for s in right]
    found = sum(s for s, _ in shared) >= min(LEAST_S, LEAST_SHARE * label.length_s)
    inside = _inside(frames, label.start_s, label.end_s)
    return PairScore(
        label,
        found,
        found and max(shared)[1],
        len(inside),
        sum(holds(frame, label.f0s_hz) for frame in inside),
        sum(is_exactly(frame, label.f0s_hz) for frame in inside),
    )


def holds(heard_hz: Sequence[float], notes_hz: Sequence[float]) -> bool:
    """Each of the notes is among what was heard, whatever else is."""
    return all(any(_same(heard, note) for heard in heard_hz) for note in notes_hz)


def is_exactly(heard_hz: Sequence[float], notes_hz: Sequence[float]) -> bool:
    """As many were heard, each near its note."""
    return len(heard_hz) == len(notes_hz) and all(map(_same, sorted(heard_hz), notes_hz))


def _same(heard_hz: float, note_hz: float) -> bool:
    return abs(cents(heard_hz / note_hz)) <= SAME_CENTS


def _shared_s(stretch: Stretch, start_s: float, end_s: float) -> float:
    return max(0.0, min(stretch.end_s, end_s) - max(stretch.start_s, start_s))


def _inside(frames: Sequence[np.ndarray], start_s: float, end_s: float) -> Sequence[np.ndarray]:
    return frames[int(np.ceil(start_s / HOP_S)) : int(np.ceil(end_s / HOP_S))]


# --- ours alone -------------------------------------------------------------------------------


def score_ours(result: MovementScore, labels: Labels, y: np.ndarray, heard: Heard) -> MovementScore:
    """Marks and single notes."""
    result.marks = len(heard.marks)
    result.line_marks = sum(
        any(min(mark.end_s, end) > max(mark.start_s, start) for start, end in labels.line)
        for mark in heard.marks
    )
    result.singles = [score_single(label, heard.events, y) for label in labels.singles]
    return result


def score_single(label: Span, events: Sequence[Event], y: np.ndarray) -> SingleScore:
    """The note heard longest in the label's span, against the reader's of the labelled span.

    The reader looks for the score's note where the score has it, whatever was heard.
    """
    best = max(events, key=lambda e: _shared_s_of(e, label), default=None)
    if best is None or _shared_s_of(best, label) < LEAST_OVERLAP * label.length_s:
        return SingleScore(label, "other")
    if len(best.voices) != 1:
        return SingleScore(label, "other")
    reading = read(y, SR, label.f0s_hz[0], label.start_s, label.end_s)
    if reading is None:
        return SingleScore(label, "short")
    voice = best.voices[0]
    error = cents(voice.f0_hz / reading.f0_hz)
    return SingleScore(label, "heard", error, voice.uncertainty_cents, reading.error_cents)


def _shared_s_of(event: Event, label: Span) -> float:
    return max(0.0, min(event.end_s, label.end_s) - max(event.start_s, label.start_s))

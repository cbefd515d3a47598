"""How right an answer is. The definitions are those at the top of ``tests.benchmarks.intonation``.

Per true event one :class:`EventScore`, per clip one :class:`ClipScore`; both are plain values that
pass between processes and are summed up by :mod:`tests.benchmarks.ear.summary`.
"""

import warnings
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from studio.intonation.model.measurement import Event
from tests.benchmarks.ear.hearing import HOP_S, Heard
from tests.benchmarks.ear.material import Material, TrueEvent, TrueRun
from tests.intonation.synth import cents

PITCH_CENTS = 50.0
ONSET_S = 0.05
LEAST_OVERLAP = 0.5  # of the true event
INNER_SHARE = 0.8  # of an event, for listeners that answer frame by frame
LEAST_FRAMES = 0.5  # of those inner frames
FALSE_PAIR_S = 0.15
MARK_OVERLAP = 0.5  # of the shorter of mark and playing
OUTCOMES = ("right", "wrong", "fewer", "more", "missed")


@dataclass(slots=True)
class EventScore:
    """One true event. Errors in cents and seconds; ``None`` where there is none to tell."""

    kind: str
    outcome: str
    error_cents: float | None = None
    stated_cents: float | None = None
    size_cents: float | None = None
    unsure: bool = False
    onset_s: float | None = None
    offset_s: float | None = None
    false_pair: bool = False
    one_voice: bool = False
    with_more: bool = False


@dataclass(slots=True)
class ClipScore:
    """One clip heard by one listener."""

    condition: str
    duration_s: float
    cpu_s: float
    twin: str | None = None
    set_name: str = ""
    events: list[EventScore] = field(default_factory=list)
    marks: dict[str, int] = field(default_factory=dict)
    mark_span_s: list[float] = field(default_factory=list)
    double_stops: int = 0
    reported: dict[str, float] = field(default_factory=dict)


def score(clip: Material, heard: Heard) -> ClipScore:
    """Our answer to a clip."""
    result = ClipScore(clip.condition, clip.duration_s, heard.cpu_s, clip.twin)
    result.events = [score_event(true, heard.events) for true in clip.events]
    result.double_stops = sum(event.kind == "double_stop" for event in heard.events)
    if clip.runs is not None:
        _score_marks(result, clip.runs, heard)
    return result


def score_event(true: TrueEvent, found: tuple[Event, ...]) -> EventScore:
    """One true event against all heard ones."""
    near = [event for event in found if _overlap_s(event, true) > 0.0]
    best = max(near, key=lambda event: _overlap_s(event, true), default=None)
    if best is None or _overlap_s(best, true) < LEAST_OVERLAP * (true.end_s - true.start_s):
        result = EventScore(true.kind, "missed")
    else:
        result = EventScore(true.kind, outcome([v.f0_hz for v in best.voices], true.f0s_hz))
        if result.outcome == "right":
            _measure(result, true, best)
    if len(true.f0s_hz) == 1:
        result.false_pair = any(_is_false_pair(event, true) for event in near)
    return result


def _measure(result: EventScore, true: TrueEvent, best: Event) -> None:
    result.onset_s, result.offset_s = best.start_s - true.start_s, best.end_s - true.end_s
    if len(true.f0s_hz) != 2 or true.size_cents is None or not best.intervals:
        return
    interval = best.intervals[0]
    result.unsure = interval.uncertainty_cents is None
    if not result.unsure:
        result.size_cents = interval.size_cents
        result.error_cents = interval.size_cents - true.size_cents
        result.stated_cents = interval.uncertainty_cents


def outcome(heard_hz: list[float], true_hz: tuple[float, ...]) -> str:
    """One of ``OUTCOMES`` (missed apart): voices compared from low to high."""
    if len(heard_hz) != len(true_hz):
        return "fewer" if len(heard_hz) < len(true_hz) else "more"
    near = [abs(cents(a / b)) <= PITCH_CENTS for a, b in zip(heard_hz, true_hz, strict=True)]
    return "right" if all(near) else "wrong"


def _overlap_s(a: Any, b: Any) -> float:
    return float(min(a.end_s, b.end_s) - max(a.start_s, b.start_s))


def _is_false_pair(found: Event, true: TrueEvent) -> bool:
    shared = _overlap_s(found, true)
    return (
        len(found.voices) > 1
        and shared > FALSE_PAIR_S
        and shared > 0.5 * (found.end_s - found.start_s)
    )


def _score_marks(result: ClipScore, runs: list[TrueRun], heard: Heard) -> None:
    """Marks against runs: each expected mark may be met once; whatever else is marked is wrong."""
    expected = [run for run in runs if run.code]
    open_marks = list(heard.marks)
    met = 0
    for run in expected:
        match = next((m for m in open_marks if m.code == run.code and _covers(m, run)), None)
        if match is not None:
            open_marks.remove(match)
            met += 1
            result.mark_span_s += [match.start_s - run.start_s, match.end_s - run.end_s]
    result.marks = {"expected": len(expected), "met": met, "made": len(heard.marks)}


def _covers(mark: Any, run: TrueRun) -> bool:
    shorter = min(mark.end_s - mark.start_s, run.end_s - run.start_s)
    return _overlap_s(mark, run) >= MARK_OVERLAP * shorter


# --- any listener, from its frames ------------------------------------------------------------


def score_frames(clip: Material, heard: Heard) -> ClipScore:
    """Any listener's answer, asked only for what all of them give."""
    result = ClipScore(clip.condition, clip.duration_s, heard.cpu_s)
    result.events = [_score_from_frames(true, heard.frames) for true in clip.events]
    result.reported = mir_measures(clip, heard)
    return result


def _score_from_frames(true: TrueEvent, frames: list[np.ndarray]) -> EventScore:
    margin = 0.5 * (1.0 - INNER_SHARE) * (true.end_s - true.start_s)
    first, last = int((true.start_s + margin) / HOP_S), int((true.end_s - margin) / HOP_S)
    inner = frames[first:last]
    nearest = np.array([[_nearest(frame, f) for f in true.f0s_hz] for frame in inner])
    there = np.isfinite(nearest)
    enough = LEAST_FRAMES * max(1, len(inner))
    heard = int(np.median([len(frame) for frame in inner])) if inner else 0
    result = EventScore(true.kind, "missed" if heard == 0 else "fewer")
    result.one_voice = bool(there.size and np.any(there.sum(axis=0) >= enough))
    if there.size and np.sum(there.all(axis=1)) >= enough:
        result.outcome = "right"
        result.with_more = heard > len(true.f0s_hz)
        if len(true.f0s_hz) == 2 and true.size_cents is not None:
            both = nearest[there.all(axis=1)]
            sizes = 1200.0 * np.log2(both[:, 1] / both[:, 0])
            result.error_cents = float(np.median(sizes) - true.size_cents)
    elif heard >= len(true.f0s_hz):
        result.outcome = "wrong"
    result.false_pair = len(true.f0s_hz) == 1 and heard > 1
    return result


def _nearest(frame: np.ndarray, f0_hz: float) -> float:
    """The pitch of the frame nearest to ``f0_hz``; NaN when none is within ``PITCH_CENTS``."""
    if not len(frame):
        return np.nan
    off = np.abs(1200.0 * np.log2(frame / f0_hz))
    best = int(np.argmin(off))
    return float(frame[best]) if off[best] <= PITCH_CENTS else np.nan


def mir_measures(clip: Material, heard: Heard) -> dict[str, float]:
    """mir_eval's multipitch measures on frames, its transcription measures on notes.

    Multipitch: within half a semitone. Notes: onset within 50 ms and pitch within 50 cents,
    offsets not asked; and onsets alone (Raffel et al. 2014, *Proc. ISMIR*, 367-372).
    """
    if not clip.events:
        return {}
    import mir_eval

    true_notes = [(e.start_s, e.end_s, f) for e in clip.events for f in e.f0s_hz]
    times = np.arange(len(heard.frames)) * HOP_S
    truth = [np.array([f for start, end, f in true_notes if start <= at <= end]) for at in times]
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Estimate frequencies are all empty")  # that is an answer
        found = mir_eval.multipitch.evaluate(times, truth, times, heard.frames)
    figures = {
        "multipitch_precision": float(found["Precision"]),
        "multipitch_recall": float(found["Recall"]),
        "multipitch_accuracy": float(found["Accuracy"]),
    }
    if heard.notes:
        spans = np.array([(n.start_s, max(n.end_s, n.start_s + 1e-3)) for n in heard.notes])
        hz = np.array([n.f0_hz for n in heard.notes])
        true_spans = np.array([(start, end) for start, end, _ in true_notes])
        true_hz = np.array([f for *_, f in true_notes])
        notes = mir_eval.transcription.precision_recall_f1_overlap(
            true_spans, true_hz, spans, hz, onset_tolerance=ONSET_S, offset_ratio=None
        )
        onsets = mir_eval.transcription.onset_precision_recall_f1(
            true_spans, spans, onset_tolerance=ONSET_S
        )
        figures |= {"note_f1": float(notes[2]), "onset_f1": float(onsets[2])}
    return figures

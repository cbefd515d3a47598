"""Figures from scores: plain numbers by condition and by interval. Shares are 0 to 1.

A figure that there is nothing to make of is ``None``, never NaN.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from tests.benchmarks.ear.scoring import ONSET_S, OUTCOMES, ClipScore, EventScore

Figures = dict[str, Any]
PAIRS_ONLY = ("single", "chord")


def pair_row(events: Iterable[EventScore]) -> Figures:
    """Double stops: how they were heard, how exact, how honest."""
    pairs = [event for event in events if event.kind not in PAIRS_ONLY]
    right = [event for event in pairs if event.outcome == "right"]
    told = [event for event in right if event.error_cents is not None]
    row: Figures = {"events": len(pairs)}
    row |= {name: _share(pairs, lambda e, n=name: e.outcome == n) for name in OUTCOMES}
    row |= _errors([abs(event.error_cents or 0.0) for event in told])
    row["unsure"] = _share(right, lambda event: event.unsure)
    row |= _coverage(told)
    row["onset_within_50_ms"] = _share(right, lambda e: abs(e.onset_s or 0.0) <= ONSET_S)
    row["offset_within_50_ms"] = _share(right, lambda e: abs(e.offset_s or 0.0) <= ONSET_S)
    return row


def _errors(errors: Sequence[float]) -> Figures:
    if not errors:
        return dict.fromkeys(("measured", "median_c", "p90_c", "p95_c", "max_c"), None)
    median, p90, p95 = np.percentile(errors, [50, 90, 95])
    return {
        "measured": len(errors),
        "median_c": _rounded(median),
        "p90_c": _rounded(p90),
        "p95_c": _rounded(p95),
        "max_c": _rounded(max(errors)),
    }


def _coverage(told: Sequence[EventScore]) -> Figures:
    stated = [e for e in told if e.stated_cents is not None]
    return {
        "within_1": _share(stated, lambda e: abs(e.error_cents) <= e.stated_cents),
        "within_2": _share(stated, lambda e: abs(e.error_cents) <= 2.0 * e.stated_cents),
    }


def single_row(events: Iterable[EventScore]) -> Figures:
    """Single notes: how many were heard right, and how many as two."""
    singles = [event for event in events if event.kind == "single"]
    return {
        "events": len(singles),
        "right": _share(singles, lambda e: e.outcome == "right"),
        "false_pairs": sum(event.false_pair for event in singles),
        "false_pair_share": _share(singles, lambda e: e.false_pair),
    }


def mark_row(clips: Iterable[ClipScore]) -> Figures:
    """Marks: right among those made, met among those expected, and their spans."""
    asked = [clip for clip in clips if clip.marks]
    expected, met, made = (sum(c.marks[k] for c in asked) for k in ("expected", "met", "made"))
    spans = np.abs([s for clip in asked for s in clip.mark_span_s])
    return {
        "expected": expected,
        "met": met,
        "made": made,
        "precision": _rounded(met / made, 4) if made else None,
        "recall": _rounded(met / expected, 4) if expected else None,
        "span_within_50_ms": _rounded(np.mean(spans <= ONSET_S), 4) if len(spans) else None,
        "span_p95_s": _rounded(np.percentile(spans, 95), 3) if len(spans) else None,
    }


def control_row(clips: Sequence[ClipScore]) -> Figures:
    """What was wrongly heard where no double stop sounds."""
    events = [event for clip in clips for event in clip.events]
    return {
        "minutes": _rounded(sum(clip.duration_s for clip in clips) / 60.0, 2),
        "marks": sum(clip.marks["made"] for clip in clips),
        "double_stops": sum(clip.double_stops for clip in clips),
        "singles": single_row(events),
    }


def shift_row(clips: Sequence[ClipScore], clean: Sequence[ClipScore]) -> Figures:
    """How far the measured sizes moved from those of the same playing undegraded."""
    before = {clip.twin: clip.events for clip in clean}
    moved = [
        abs(now.size_cents - then.size_cents)
        for clip in clips
        if clip.twin in before
        for now, then in zip(clip.events, before[clip.twin], strict=True)
        if now.size_cents is not None and then.size_cents is not None
    ]
    found = _errors(moved)
    return {"moved_median_c": found["median_c"], "moved_p95_c": found["p95_c"]}


def listener_row(clips: Sequence[ClipScore]) -> Figures:
    """One listener on the material that all of them heard."""
    events = [event for clip in clips for event in clip.events]
    pairs = [event for event in events if event.kind not in PAIRS_ONLY]
    singles = [event for event in events if event.kind == "single"]
    told = [abs(e.error_cents) for e in pairs if e.error_cents is not None]
    sound_s, cpu_s = (
        sum(getattr(clip, name) for clip in clips) for name in ("duration_s", "cpu_s")
    )
    row: Figures = {
        "pairs": len(pairs),
        "found": _share(pairs, lambda e: e.outcome == "right"),
        "found_and_nothing_else": _share(pairs, lambda e: e.outcome == "right" and not e.with_more),
        "one_voice": _share(pairs, lambda e: e.one_voice),
        "wrong": _share(pairs, lambda e: e.outcome == "wrong"),
        "false_pair_share": _share(singles, lambda e: e.false_pair),
        **_errors(told),
        "x_real_time": _rounded(sound_s / cpu_s, 1) if cpu_s else None,
    }
    names = sorted({name for clip in clips for name in clip.reported})
    for name in names:
        values = [clip.reported[name] for clip in clips if name in clip.reported]
        row[name] = _rounded(np.mean(values))
    return row


def grouped(clips: Iterable[ClipScore]) -> dict[str, list[ClipScore]]:
    """Clips by condition, in the order they come."""
    rows: dict[str, list[ClipScore]] = defaultdict(list)
    for clip in clips:
        rows[clip.condition].append(clip)
    return dict(rows)


def by_kind(clips: Iterable[ClipScore]) -> dict[str, list[EventScore]]:
    """Events by interval class."""
    rows: dict[str, list[EventScore]] = defaultdict(list)
    for clip in clips:
        for event in clip.events:
            rows[event.kind].append(event)
    return dict(rows)


def _share(of: Sequence[EventScore], which: Any) -> float | None:
    return _rounded(sum(bool(which(each)) for each in of) / len(of), 4) if of else None


def _rounded(value: Any, digits: int = 3) -> float:
    return round(float(value), digits)

"""From frames to stretches: the likeliest path through the hypotheses of a whole clip.

Conventions: a *state* is one frame's set of notes (Hz, ascending, 0 = none); a *stretch* is a run
of frames whose states are the same notes, give or take a slow slide.

Method
------
Viterbi's algorithm (Forney, *Proc. IEEE* 61(3), 1973): the path with the least sum of frame
costs and switching costs. Staying costs nothing, one voice joining or leaving costs less than a
change of everything; so a moment of noise or an attack does not cut a note. Only the kept
hypotheses of each frame are states, so the work grows linearly with the clip.
"""

from dataclasses import dataclass

import numpy as np

from studio.intonation.detection.hypotheses import Hypotheses
from studio.intonation.percentiles import median
from studio.theory import in_cents

# Chosen on made clips and recorded notes; costs are in clear peaks, as the hypotheses'. Cheaper
# switching cuts notes at moments of noise, dearer loses short ones.
SWITCH_COST = 2.0  # everything changes, or silence begins or ends
JOIN_COST = 1.5  # a voice joins or leaves
SAME_CENTS = 60.0  # between neighbouring frames: wide vibrato and slides stay one note
BATCH = 512  # frames whose switching costs are in memory at once


@dataclass(slots=True)
class Stretch:
    """Frames ``first`` to ``last`` (exclusive) heard as the same notes, ``f0_hz`` (V,)."""

    first: int
    last: int
    f0_hz: np.ndarray
    margin: float = 0.0


def best_path(hypotheses: Hypotheses) -> np.ndarray:
    """Return the index of the chosen hypothesis in every frame, shape (T,)."""
    cost = hypotheses.cost
    if not len(cost):
        return np.zeros(0, int)
    came = np.zeros(cost.shape, int)
    total = cost[0]
    everyone = np.arange(cost.shape[1])
    for first in range(1, len(cost), BATCH):
        last = min(len(cost), first + BATCH)
        moves = _switching(hypotheses.f0_hz[first - 1 : last - 1], hypotheses.f0_hz[first:last])
        for t in range(first, last):
            reach = total[:, None] + moves[t - first]
            came[t] = reach.argmin(axis=0)
            total = reach[came[t], everyone] + cost[t]
    path = np.zeros(len(cost), int)
    path[-1] = int(total.argmin())
    for t in range(len(cost) - 1, 0, -1):
        path[t - 1] = came[t, path[t]]
    return path


def _switching(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Return the cost of going from each state to each, shape (T, H, H)."""
    a, b = _as_cents(before), _as_cents(after)
    near = np.abs(a[:, :, None, :, None] - b[:, None, :, None, :]) < SAME_CENTS
    near &= (a > 0.0)[:, :, None, :, None] & (b > 0.0)[:, None, :, None, :]
    kept_a, kept_b = near.any(axis=4).sum(axis=3), near.any(axis=3).sum(axis=3)
    size_a = (a > 0.0).sum(axis=2)[:, :, None]
    size_b = (b > 0.0).sum(axis=2)[:, None, :]
    same = (kept_a == size_a) & (kept_b == size_b)
    inside = ((kept_a == size_a) | (kept_b == size_b)) & (size_a > 0) & (size_b > 0)
    return np.where(same, 0.0, np.where(inside, JOIN_COST, SWITCH_COST))


def _as_cents(f0_hz: np.ndarray) -> np.ndarray:
    return np.where(f0_hz > 0.0, in_cents(np.maximum(f0_hz, 1.0)), 0.0)


def stretches(hypotheses: Hypotheses, path: np.ndarray) -> list[Stretch]:
    """Return the path cut into stretches; silence is left out."""
    found: list[Stretch] = []
    if not len(path):
        return found
    chosen = hypotheses.f0_hz[np.arange(len(path)), path]
    cents = _as_cents(chosen)
    sounding = cents > 0.0
    same = np.zeros(len(path), bool)
    same[1:] = (sounding[1:] == sounding[:-1]).all(axis=1)
    same[1:] &= (np.abs(cents[1:] - cents[:-1]) < SAME_CENTS).all(axis=1)
    starts = np.flatnonzero(~same)
    for first, last in zip(starts, np.append(starts[1:], len(path)), strict=True):
        rows = chosen[first:last]
        voices = int((rows[0] > 0.0).sum())
        if voices:
            found.append(Stretch(int(first), int(last), median(rows[:, :voices], axis=0)))
    return found

"""Where a note has settled, and where it landed.

Conventions: spans are (start, end) in seconds of the clip.

A held double stop is often adjusted: the fingers land, the pupil hears, and slides. Two pitches
matter, and neither is the mean of it all. The *landing* is the pitch just after the onset, when
the string has begun to speak. The *settled* part is the last stretch over which the slow pitch
(vibrato averaged away) of every voice stays near where it ends; its pitch is weighted with
cos^2 over +-0.4 s around its middle, or over the whole settled part when it is shorter. The
weighting falls to nothing at both ends, so vibrato cut off in mid-cycle does not shift it.
"""

from dataclasses import dataclass

import numpy as np

from studio.intonation.cents.track import Track

SETTLE_S = 0.2  # a string needs some periods, a finger some tenths, before the pitch is meant
RELEASE_S = 0.05
LANDING_FROM_S, LANDING_TO_S = 0.03, 0.21
SLOW_S = 0.25  # averages vibrato of 4 Hz and faster away
STILL_CENTS = 7.0  # the settled part stays this near to where it ends
LEAST_SETTLED_S = 0.25
LEAST_HELD_S = 0.35  # what is still for less at the end was not adjusted, it wanders
WEIGHT_HALF_S = 0.4


@dataclass(frozen=True, slots=True)
class Weighting:
    """cos^2 weighting around ``centre_s``, zero beyond ``half_s``."""

    centre_s: float
    half_s: float

    def __call__(self, time_s: np.ndarray) -> np.ndarray:
        """Weights that sum to one, same shape as ``time_s``."""
        u = (time_s - self.centre_s) / self.half_s
        w = np.where(np.abs(u) < 1, np.cos(u * np.pi / 2) ** 2, 0.0)
        total = w.sum()
        return w / total if total > 0 else np.full(len(w), 1 / len(w))


def slow(cents: np.ndarray, hop_s: float) -> np.ndarray:
    """Moving average over ``SLOW_S``, same shape; the ends average what there is."""
    width = max(1, round(SLOW_S / hop_s)) | 1
    width = min(
        width, max(1, len(cents) - 1 + len(cents) % 2)
    )  # never longer than what is averaged
    kernel = np.ones(width)
    return np.convolve(cents, kernel, "same") / np.convolve(np.ones(len(cents)), kernel, "same")


def settled_span(tracks: list[Track], start_s: float, end_s: float) -> tuple[float, float]:
    """The settled part between ``start_s`` and ``end_s``."""
    length = end_s - start_s
    begin = start_s + min(SETTLE_S, 0.25 * length)
    end = end_s - min(RELEASE_S, 0.1 * length)
    still = [_still_from(t, begin, end) for t in tracks if not t.hidden]
    latest = max([begin, *still])
    return (latest if end - latest >= LEAST_HELD_S else begin), end


def _still_from(track: Track, begin: float, end: float) -> float:
    """Time after which the slow pitch stays near where it ends."""
    inside = (track.time_s >= begin) & (track.time_s <= end)
    if inside.sum() < 8:
        return begin
    time = track.time_s[inside]
    curve = slow(track.cents, float(track.time_s[1] - track.time_s[0]))[inside]
    last = time >= end - max(LEAST_SETTLED_S, 0.35 * (end - begin))
    away = np.flatnonzero(np.abs(curve - np.median(curve[last])) > STILL_CENTS)
    return begin if len(away) == 0 else float(time[min(away[-1] + 1, len(time) - 1)])


def settled_weighting(span: tuple[float, float]) -> Weighting:
    """The weighting of a settled part."""
    begin, end = span
    return Weighting((begin + end) / 2, min(WEIGHT_HALF_S, (end - begin) / 2))


def landing_weighting(start_s: float) -> Weighting:
    """The weighting just after an onset."""
    centre = start_s + (LANDING_FROM_S + LANDING_TO_S) / 2
    return Weighting(centre, (LANDING_TO_S - LANDING_FROM_S) / 2)

"""What a pitch does over a note: where it landed and settled, its vibrato, drift and steadiness.

Conventions: spans are (start, end) in seconds of the clip; rate in Hz, extent as plus or minus
cents, drift in cents per second (rising is positive), steadiness as the standard deviation in cents
about the drift, vibrato taken out.

Landing and settling
--------------------
A held double stop is often adjusted: the fingers land, the pupil hears, and slides. Two pitches
matter, and neither is the mean of it all. The *landing* is the pitch just after the onset, when
the string has begun to speak. The *settled* part is the last stretch over which the slow pitch
(vibrato averaged away) of every voice stays near where it ends. What is reported is the mean over
all of it, however long it is held: that is what a teacher hears and means. The weighting is flat;
under vibrato it falls to nothing over about one cycle at both ends, since vibrato of 15 cents cut
off in mid-cycle would shift the mean by half a cent. Where the note *ended* is told apart.

Vibrato
-------
Line and one sinusoid are fitted by least squares on a grid of rates (a least-squares
periodogram; Lomb 1976, *Astrophys. Space Sci.* 39, 447-462). It is vibrato when the sinusoid is
wide enough to be heard and carries most of what the line leaves.
"""

from dataclasses import dataclass

import numpy as np

from studio.intonation.estimation.pitch_tracks import Track
from studio.intonation.model.sounding import Vibrato
from studio.intonation.percentiles import median

# Of landing and settling. Chosen on made and recorded double stops; times in seconds:
SETTLE_S = 0.2  # a string needs some periods, a finger some tenths, before the pitch is meant
SETTLE_SHARE = 0.25  # of a short note, at most
RELEASE_S, RELEASE_SHARE = 0.05, 0.1  # before the end, in which the bow lifts; of a short note
LANDING_FROM_S, LANDING_TO_S = (
    0.03,
    0.21,
)  # after the onset: the string has begun to speak; SETTLE_S
SLOW_S = 0.25  # averages vibrato of 4 Hz and faster away
STILL_CENTS = 9.0  # the settled part stays this near to where it ends ...
RESTLESS = 2.5  # ... or within this many standard deviations of its own unrest
BEGAN_AWAY = 1.5  # it was adjusted if it began this many times as far away
LEAST_HELD_S = 0.35  # what is still for less at the end was not adjusted, it wanders
HELD_SHARE = 0.35  # of a longer note: its last part, by which it is known where it ends
EDGE_S = 0.04  # over which the weighting rises and falls: edges are not known better
CYCLE_S = 0.2  # the same under vibrato: one cycle of it
END_S = 0.3  # the last part of a note, in which it ended where it ended
DROPOUT_DB = 10.0  # below its usual level a voice may have fallen silent
DROPOUT_VOTES = 0.5  # of the usual vote, below which it has lost its pitch too
DROPOUT_LEAST_S = 0.07  # three frames: shorter is an accident of one
# Of vibrato. The rates are common practice, no source, and a margin; the rest is chosen.
RATES_HZ = np.arange(3.5, 8.51, 0.125)  # tried
LEAST_EXTENT_CENTS = 4.0  # plus or minus: narrower is hardly heard
LEAST_SHARE = 0.5  # of what the line leaves, that the sinusoid carries
LEAST_CYCLES = 2.0  # of it: of fewer any bend would do


@dataclass(frozen=True, slots=True)
class Weighting:
    """Flat between ``begin_s`` and ``end_s``, with raised cosine edges of ``edge_s`` inside."""

    begin_s: float
    end_s: float
    edge_s: float = EDGE_S

    @property
    def centre_s(self) -> float:
        return (self.begin_s + self.end_s) / 2

    @property
    def half_s(self) -> float:
        return (self.end_s - self.begin_s) / 2

    def __call__(self, time_s: np.ndarray) -> np.ndarray:
        """Weights that sum to one, same shape as ``time_s``."""
        edge = max(min(self.edge_s, self.half_s), 1e-6)
        inside = np.minimum(time_s - self.begin_s, self.end_s - time_s)
        w = np.sin(np.clip(inside / edge, 0.0, 1.0) * np.pi / 2) ** 2
        total = w.sum()
        return w / total if total > 0 else np.full(len(w), 1 / len(w))

    def within(self, begin_s: float, end_s: float) -> "Weighting":
        """The part of it between two moments, with edges of its own."""
        return Weighting(max(self.begin_s, begin_s), min(self.end_s, end_s), self.edge_s)


def slow(cents: np.ndarray, hop_s: float) -> np.ndarray:
    """Moving average over ``SLOW_S``, same shape; the ends average what there is."""
    width = max(1, round(SLOW_S / hop_s)) | 1
    width = min(
        width, max(1, len(cents) - 1 + len(cents) % 2)
    )  # never longer than what is averaged
    kernel = np.ones(width)
    return np.convolve(cents, kernel, "same") / np.convolve(np.ones(len(cents)), kernel, "same")


def dropouts(track: Track) -> tuple[tuple[float, float], ...]:
    """Spans in which a followed voice falls far below its usual level and loses its pitch."""
    if track.hidden or len(track.level_db) < 5 or not track.votes.any():
        return ()
    faint = track.level_db < median(track.level_db) - DROPOUT_DB
    silent = faint & (track.votes < DROPOUT_VOTES * median(track.votes))
    edges = np.flatnonzero(np.diff(np.concatenate([[0], silent.astype(int), [0]])))
    spans = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        span = (float(track.time_s[first]), float(track.time_s[last - 1]))
        inside = first > 0 and last < len(silent)
        if inside and span[1] - span[0] >= DROPOUT_LEAST_S:
            spans.append(span)
    return tuple(spans)


def settled_span(tracks: list[Track], start_s: float, end_s: float) -> tuple[float, float]:
    """The settled part between ``start_s`` and ``end_s``, free of dropouts."""
    length = end_s - start_s
    begin = start_s + min(SETTLE_S, SETTLE_SHARE * length)
    end = end_s - min(RELEASE_S, RELEASE_SHARE * length)
    begin, end = _longest_between([d for t in tracks for d in dropouts(t)], begin, end)
    still = [_still_from(t, begin, end) for t in tracks if not t.hidden]
    latest = max([begin, *still])
    return (latest if end - latest >= LEAST_HELD_S else begin), end


def _longest_between(
    gaps: list[tuple[float, float]], begin: float, end: float
) -> tuple[float, float]:
    """The longest stretch of ``begin``..``end`` that keeps clear of all gaps."""
    clear = 0.5 * SLOW_S  # a frame that reaches into a gap is no good either
    stretches, since = [], begin
    for first, last in sorted(gaps):
        stretches.append((since, first - clear))
        since = max(since, last + clear)
    return max([*stretches, (since, end)], key=lambda s: s[1] - s[0])


def _still_from(track: Track, begin: float, end: float) -> float:
    """Time after which the slow pitch stays near where it ends, when it began elsewhere."""
    inside = (track.time_s >= begin) & (track.time_s <= end)
    if inside.sum() < 8:
        return begin
    time = track.time_s[inside]
    curve = slow(track.cents, float(track.time_s[1] - track.time_s[0]))[inside]
    last = time >= end - max(LEAST_HELD_S, HELD_SHARE * (end - begin))
    away = np.abs(curve - median(curve[last]))
    still = max(STILL_CENTS, RESTLESS * float(np.std(curve[last])))
    began = away[: max(3, len(away) // 8)].max()
    if began < BEGAN_AWAY * still:
        return begin
    return float(time[min(np.flatnonzero(away > still)[-1] + 1, len(time) - 1)])


def settled_weighting(span: tuple[float, float], *, vibrato: bool = False) -> Weighting:
    """The weighting of a settled part: all of it."""
    return Weighting(*span, CYCLE_S if vibrato else EDGE_S)


def ending_weighting(held: Weighting) -> Weighting:
    """The weighting of the last part of a settled part."""
    return held.within(held.end_s - END_S, held.end_s)


def landing_weighting(start_s: float) -> Weighting:
    """The weighting just after an onset."""
    return Weighting(start_s + LANDING_FROM_S, start_s + LANDING_TO_S)


@dataclass(frozen=True, slots=True)
class Movement:
    """What a pitch curve does beside its mean."""

    vibrato: Vibrato | None
    drift_cents_per_s: float
    steadiness_cents: float


def movement(time_s: np.ndarray, cents: np.ndarray) -> Movement:
    """Describe a curve ``cents`` (m,) at ``time_s`` (m,), m at least 4."""
    t = time_s - time_s.mean()
    line = np.stack([np.ones_like(t), t / max(float(np.ptp(t)), 1e-9)])
    plain, rest = _least_squares(line, cents)
    turn = 2 * np.pi * RATES_HZ[RATES_HZ * np.ptp(t) >= LEAST_CYCLES, None] * t
    if len(turn):
        waves = np.stack([np.cos(turn), np.sin(turn)], axis=1)  # (R, 2, m)
        basis = np.concatenate([np.broadcast_to(line, waves.shape), waves], axis=1)
        gram = basis @ basis.transpose(0, 2, 1) + 1e-9 * np.eye(4)
        weights = np.linalg.solve(gram, basis @ cents[:, None])[:, :, 0]
        left = np.mean((cents - np.einsum("rk,rkm->rm", weights, basis)) ** 2, axis=1)
        best = int(left.argmin())
        extent = float(np.hypot(*weights[best, 2:]))
        if extent >= LEAST_EXTENT_CENTS and left[best] < (1 - LEAST_SHARE) * rest:
            rate = float(turn[best, -1] / (2 * np.pi * t[-1]))
            slope = float(weights[best, 1] / np.ptp(t))
            return Movement(Vibrato(rate, extent), slope, float(np.sqrt(left[best])))
    return Movement(None, float(plain[1] / max(float(np.ptp(t)), 1e-9)), float(np.sqrt(rest)))


def _least_squares(basis: np.ndarray, cents: np.ndarray) -> tuple[np.ndarray, float]:
    """Least-squares weights and the mean square left over."""
    weights = np.linalg.solve(basis @ basis.T + 1e-9 * np.eye(len(basis)), basis @ cents)
    return weights, float(np.mean((cents - weights @ basis) ** 2))

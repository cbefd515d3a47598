"""The coarse pitch track of every voice, frame by frame: right to a few cents.

Conventions
-----------
* Tracks are in cents relative to the voice's given f0; frames about every 23 ms.
* A partial is *free* when no partial of another voice lies within ``CLEAR_HZ`` of it (plus what
  the given f0s may be wrong by). A voice without a free partial is
  *hidden* (an octave's upper voice, both voices of a unison): frames cannot follow it, and
  ``hidden_voices.py`` finds it afterwards.

Method
------
Short-time spectra (Hann, 93 ms). For each candidate pitch on a 4-cent grid of up to +-96 cents the
free partials vote with their log power over a floor. The floor is the larger of the noise
around the partial and a level well below the partial's own peak, so that every partial has
about the same say whatever its strength (whitening): one strong partial beside a resonance
must not outvote nine others. The best path through the votes, with a quadratic price on
movement, is found by dynamic programming (Viterbi 1967, *IEEE Trans. Inf. Theory* 13,
260-269; for pitch: Ney 1983, *IEEE Trans. SMC* 13, 208-214), and refined by a parabola.
"""

from dataclasses import dataclass

import numpy as np
from scipy import fft

from studio.intonation.percentiles import median, percentile
from studio.theory import as_ratio, in_cents

# Chosen on made and recorded double stops:
FRAME_S = 0.093  # of a window: shorter blurs partials of two voices, longer blurs vibrato
HOP_S = 0.0232  # a quarter of it
TOP_HZ = 6500.0  # of a partial: above, noise
TOP_SHARE = 0.98  # of that, so that the last one can move
PARTIALS = 10  # at most, that vote
REACH_CENTS = 96.0  # from the given pitch: as far off as it may be
LEAST_REACH_CENTS = 44.0  # the same where another voice is near a simple ratio
REACH_SHARE = 0.55  # of the way to that ratio
GIVEN_CENTS = 30.0  # standard deviation of a pitch about the one given
STEP_CENTS = 4.0  # of the grid; a parabola refines it
CLEAR_HZ = 20.0  # from another voice's partial: a line's width, about
DOUBT_CENTS, LESS_DOUBT_CENTS = 25.0, 10.0  # what the given pitches may be wrong by; once tracked
CENTS_OF_ALL = 1731.0  # cents in a change by the whole frequency, to first order: 1200 / ln 2
FEWEST_FREE = 1  # free partials by which a voice can be followed
ENOUGH_FREE = 3  # free partials, so that those at simple ratios can be left out
CAPTURING_Q = 3  # simple ratios p:q up to here draw a voice's track to themselves
MOST_P, MOST_Q = 8, 5  # simple ratios p:q at which partials keep meeting
NEAR_CENTS = 75.0  # a voice this close to a multiple of another has no free partials
FLOOR_BLOCK_HZ = 400.0  # of spectrum that has one noise floor
FLOOR_SHARE = 0.15  # of its bins below the floor: most may be partials
OVER_FLOOR = 1.0  # nepers above it, where a vote begins
PEAK_PERCENTILE = 80  # of a partial's level over the frames: its own peak, but for moments
CAP = 5.0  # nepers of power between a partial's peak and its floor: 22 dB
SMOOTH_CENTS = 9.0  # movement per hop that costs half a unit
NO_LEVEL_DB = -200.0  # of a voice that is not followed: below any level


@dataclass(frozen=True, slots=True)
class Frames:
    """Log power (T, F) of short-time spectra; frame centres (T,) s; Hz per bin; noise floor."""

    log_power: np.ndarray
    time_s: np.ndarray
    spacing_hz: float
    floor: np.ndarray


@dataclass(frozen=True, slots=True)
class Track:
    """One voice's coarse pitch: ``time_s``, ``cents`` re ``f0_hz``, ``level_db`` (T,) of its
    free partials (power, re full scale), ``votes`` the mean vote per partial (T,), and how many
    partials were ``free``."""

    f0_hz: float
    time_s: np.ndarray
    cents: np.ndarray
    level_db: np.ndarray
    votes: np.ndarray
    free: int

    @property
    def hidden(self) -> bool:
        """True when too few free partials follow this voice."""
        return self.free < FEWEST_FREE


def frames(y: np.ndarray, sr: float, start_s: float, end_s: float) -> Frames:
    """Short-time spectra whose centres lie in ``start_s``..``end_s``."""
    n = max(16, round(FRAME_S * sr))
    count = max(1, int((end_s - start_s) / HOP_S) + 1)
    time = start_s + np.arange(count) * HOP_S
    first = np.round(time * sr).astype(int) - n // 2
    origin = first[0]
    stop = first[-1] + n
    piece = np.zeros(stop - origin, dtype=np.float32)
    a, b = max(origin, 0), min(stop, len(y))
    if b > a:
        piece[a - origin : b - origin] = y[a:b]
    window = (np.hanning(n) * (2 / (n / 2))).astype(np.float32)
    n_fft = fft.next_fast_len(2 * n, real=True)
    rows = piece[(first - origin)[:, None] + np.arange(n)] * window
    keep = min(n_fft // 2, int(TOP_HZ / (sr / n_fft)) + 4)
    spectra = fft.rfft(rows, n_fft, axis=1)[:, :keep]
    power = spectra.real**2 + spectra.imag**2
    log_power = np.log(power + 1e-14)
    return Frames(log_power, time, sr / n_fft, _noise_floor(log_power, sr / n_fft))


def _noise_floor(log_power: np.ndarray, spacing_hz: float) -> np.ndarray:
    """Low percentile of the event's mean log power in blocks, one value per bin, shape (F,)."""
    mean = log_power.mean(axis=0)
    block = max(8, int(FLOOR_BLOCK_HZ / spacing_hz))
    whole = len(mean) // block
    rows = mean[: whole * block].reshape(whole, block)
    rank = int(FLOOR_SHARE * block)
    values = np.partition(rows, rank, axis=1)[:, rank]
    return np.interp(np.arange(len(mean)), (np.arange(whole) + 0.5) * block, values)


def near_multiple(f0_hz: np.ndarray, voice: int) -> tuple[int, int] | None:
    """(other voice, n) when ``voice`` lies close to n times a voice not above it, else None.

    Every partial of such a voice has a partial of the other beside it: unison (n = 1), octave,
    twelfth, double octave and so on.
    """
    best: tuple[float, int, int] | None = None
    for other, f in enumerate(f0_hz):
        n = max(1, round(float(f0_hz[voice] / f)))
        off = abs(in_cents(f0_hz[voice] / (n * f)))
        allowed = other != voice and (n > 1 or f0_hz[voice] >= f * as_ratio(-NEAR_CENTS))
        if allowed and off < NEAR_CENTS and (best is None or off < best[0]):
            best = (off, other, n)
    return None if best is None else best[1:]


def _shared(k: np.ndarray, ratio: float) -> np.ndarray:
    """Which partials ``k`` meet another voice's again and again, the voices being near p:q.

    However far off they are in hertz, they all point to the same wrong pitch, the exact p:q,
    and a stronger voice would draw a weaker one there. True for multiples of q.
    """
    shared = np.zeros(len(k), dtype=bool)
    for q in range(1, MOST_Q + 1):
        p = round(q * ratio)
        if 1 <= p <= MOST_P and abs(in_cents(q * ratio / p)) < NEAR_CENTS:
            shared |= k % q == 0
    return shared


def free_partials(f0_hz: np.ndarray, voice: int, doubt_cents: float) -> np.ndarray:
    """Partial numbers of ``voice`` that no other voice's partial comes near."""
    if near_multiple(f0_hz, voice):
        return np.zeros(0, dtype=int)
    top = min(PARTIALS, int(TOP_HZ * TOP_SHARE / f0_hz[voice]))
    k = np.arange(1, top + 1)
    freq = k * f0_hz[voice]
    clear, shared = np.full(len(k), np.inf), np.zeros(len(k), dtype=bool)
    for other, f in enumerate(f0_hz):
        if other != voice:
            shared |= _shared(k, f0_hz[voice] / f)
            multiple = np.maximum(np.round(freq / f), 1)
            clear = np.minimum(clear, np.abs(freq - multiple * f))
    free = clear > CLEAR_HZ + freq * doubt_cents / CENTS_OF_ALL
    # in a chord hardly a partial may be left; then those a little apart have to do
    return k[free & ~shared] if (free & ~shared).sum() >= ENOUGH_FREE else k[free]


def reach_cents(f0_hz: np.ndarray, voice: int) -> float:
    """How far from its given pitch a voice is looked for: not as far as the nearest simple ratio
    to another voice, where the other's partials would be taken for its own."""
    reach = REACH_CENTS
    for other, f in enumerate(f0_hz):
        for q in range(1, CAPTURING_Q + 1):
            ratio = q * f0_hz[voice] / f
            away = abs(in_cents(ratio / max(round(ratio), 1)))
            if other != voice and away > NEAR_CENTS:
                reach = min(reach, max(REACH_SHARE * away, LEAST_REACH_CENTS))
    return float(reach)


def _levels(spectra: Frames, f_hz: np.ndarray) -> np.ndarray:
    """Log power at the frequencies ``f_hz`` (...) for every frame, shape (T, ...)."""
    x = f_hz / spectra.spacing_hz
    i = np.clip(x.astype(int), 0, spectra.log_power.shape[1] - 2)
    share = x - i
    return spectra.log_power[:, i] * (1 - share) + spectra.log_power[:, i + 1] * share


def _votes(
    spectra: Frames, f0_hz: float, partials: np.ndarray, grid: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Votes (T, G) for every candidate, and log power (T, K, G) at its partials."""
    f_hz = partials[:, None] * f0_hz * as_ratio(grid)
    level = _levels(spectra, f_hz)
    floor = np.interp(f_hz, np.arange(len(spectra.floor)) * spectra.spacing_hz, spectra.floor)
    own = percentile(level.max(axis=2), PEAK_PERCENTILE, axis=0) - CAP
    floor = np.maximum(floor + OVER_FLOOR, own[:, None])
    return np.logaddexp(level - floor, 0.0).sum(axis=1), level


def best_path(votes: np.ndarray) -> np.ndarray:
    """Indices (T,) of the path with the most votes less the price of movement."""
    count, size = votes.shape
    step = np.arange(size) * STEP_CENTS
    price = 0.5 * ((step[:, None] - step) / SMOOTH_CENTS) ** 2
    total = votes[0]
    back = np.zeros((count, size), dtype=int)
    for t in range(1, count):
        options = total[None, :] - price
        back[t] = options.argmax(axis=1)
        total = options[np.arange(size), back[t]] + votes[t]
    path = np.empty(count, dtype=int)
    path[-1] = total.argmax()
    for t in range(count - 1, 0, -1):
        path[t - 1] = back[t, path[t]]
    return path


def _parabola(votes: np.ndarray, path: np.ndarray) -> np.ndarray:
    """Sub-grid offset (T,) in steps around the path's maxima."""
    rows = np.arange(len(path))
    i = np.clip(path, 1, votes.shape[1] - 2)
    left, mid, right = votes[rows, i - 1], votes[rows, i], votes[rows, i + 1]
    bend = left - 2 * mid + right
    offset = np.where(bend < 0, 0.5 * (left - right) / np.minimum(bend, -1e-9), 0.0)
    return np.clip(offset, -1, 1) + (i - path)


def follow(spectra: Frames, f0_hz: np.ndarray, voice: int, doubt_cents: float) -> Track:
    """Coarse track of one voice. ``f0_hz`` (V,) are all voices' pitches as known so far."""
    partials = free_partials(f0_hz, voice, doubt_cents)
    f0, count = float(f0_hz[voice]), len(spectra.time_s)
    if len(partials) == 0:
        nothing = np.zeros(count)
        return Track(f0, spectra.time_s, nothing, nothing + NO_LEVEL_DB, nothing, 0)
    steps = int(reach_cents(f0_hz, voice) / STEP_CENTS)
    grid = STEP_CENTS * np.arange(-steps, steps + 1)
    votes, level = _votes(spectra, f0, partials, grid)
    votes -= 0.5 * (grid / GIVEN_CENTS) ** 2
    path = best_path(votes)
    cents = grid[0] + STEP_CENTS * (path + _parabola(votes, path))
    rows = np.arange(count)
    at = level[rows, :, path]
    power = 10 * np.log10(np.exp(at).sum(axis=1) / 2)
    return Track(f0, spectra.time_s, cents, power, votes[rows, path] / len(partials), len(partials))


def coarse_tracks(spectra: Frames, f0_hz: np.ndarray) -> list[Track]:
    """Tracks of all voices, in two passes: the second knows better which partials are free."""
    f0_hz = np.asarray(f0_hz, dtype=float)
    first = [follow(spectra, f0_hz, v, DOUBT_CENTS) for v in range(len(f0_hz))]
    better = [t.f0_hz * as_ratio(median(t.cents)) if not t.hidden else t.f0_hz for t in first]
    if len(better) == 1:
        return first
    return [follow(spectra, np.array(better), v, LESS_DOUBT_CENTS) for v in range(len(better))]

"""One bright note, or an octave? The test that partial peaks cannot make.

Conventions
-----------
* ``f0_hz`` is the lower note. Partial k of it lies at k·f0; *odd* partials belong to the lower note
  alone, *even* ones may hold a partial of an upper note at 2·f0·2^(δ/1200): δ is the *offset* in
  cents, wide positive.
* A *baseband* is one partial moved to 0 Hz, complex, sampled at about 220 Hz.

Method
------
1. Follow f0(t) from the odd partials: the amplitude-weighted mean of their phase steps, each
   divided by its number (the maximum-likelihood combination for a harmonic source).
2. Demodulate every partial by k·φ(t). Vibrato and wander common to the note vanish; what
   remains of a single note is nearly constant.
3. Ask of the even partials what the odd ones do not show:

   * *split*: a second line at offset k·f0·(2^(δ/1200) - 1), the same δ for all. For each δ the
     drop of the residual when that line is fitted beside a slowly changing constant, in nats per
     sample (a generalised likelihood ratio; Kay, *Fundamentals of Statistical Signal Processing II*,
     1998, ch. 6), summed over even partials, less what odd partials show for the same δ;
   * *unrest*: how much less constant the even basebands are than the odd ones;
   * *excess*: how much louder than the odd partials around them.

4. A logistic function joins these into the probability of an octave. Its coefficients were
   fitted on made and real notes by ``tests/intonation/notes/fit_octaves.py``.

Within about 4 cents of pure, with a weak upper note, nothing in the sound tells the two apart:
the probability is then neither high nor low and the reading stays open.
"""

from dataclasses import dataclass

import numpy as np
from scipy.signal import upfirdn

from studio.intonation.notes.audio import Sound

RATE_HZ = 220.0  # of basebands
PARTIALS = 12
HIGHEST_HZ = 6000.0
LONGEST_S = 1.6  # of an event's middle; more costs time and tells little more
SHORTEST_S = 0.2
OFFSETS_CENTS = np.concatenate([-np.arange(60.0, 1.0, -2.0), np.arange(2.0, 61.0, 2.0)])


@dataclass(frozen=True, slots=True)
class OctaveSigns:
    """What the even partials show; ``offset_cents`` is the best δ."""

    split: float
    offset_cents: float
    unrest: float
    excess_db: float
    excess_low_db: float
    length_s: float
    f0_hz: float


def octave_signs(sound: Sound, start_s: float, end_s: float, f0_hz: float) -> OctaveSigns | None:
    """Return the signs of an upper octave over a span, or None where it is too short."""
    length_s = min(end_s - start_s, LONGEST_S)
    if length_s < SHORTEST_S:
        return None
    middle_s = 0.5 * (start_s + end_s)
    first = int((middle_s - 0.5 * length_s) * sound.fs)
    x = sound.read(first, int(length_s * sound.fs))
    count = int(np.clip(HIGHEST_HZ / f0_hz, 4, PARTIALS))
    bands, rate = basebands(x, sound.fs, f0_hz, count)
    noise = _noise_power(x, sound.fs, f0_hz)
    level = (np.abs(bands) ** 2).mean(axis=1)
    split, offset = _split(bands, rate, f0_hz, noise)
    unrest = _unrest(bands, noise)
    excess, low = _excess(level, noise)
    return OctaveSigns(split, offset, unrest, excess, low, length_s, f0_hz)


def basebands(x: np.ndarray, fs: float, f0_hz: float, count: int) -> tuple[np.ndarray, float]:
    """Return partials 1 to ``count`` demodulated by the odd partials' own pitch, and their rate."""
    raw, rate, down = _demodulated(x, fs, np.full(len(x), f0_hz), count)
    odd = raw[0::2]
    k = np.arange(1, count + 1, 2)[:, None]
    step = odd[:, 1:] * odd[:, :-1].conj()
    weight = np.abs(step) * k * (np.abs(step) > 0.0)
    off_hz = (weight * np.angle(step)).sum(axis=0) / ((weight * k).sum(axis=0) + 1e-30)
    off_hz *= rate / (2.0 * np.pi)
    smooth = np.hanning(max(3, int(0.05 * rate) | 1) + 2)[1:-1]
    off_hz = np.convolve(np.pad(off_hz, len(smooth) // 2, mode="edge"), smooth / smooth.sum(), "valid")
    limit = 0.04 * f0_hz  # 70 cents: wider vibrato than any
    off_hz = np.clip(off_hz, -limit, limit)
    at = (np.arange(len(off_hz)) + 0.5) * down
    track = f0_hz + np.interp(np.arange(len(x)), at, off_hz)
    bands, rate, _ = _demodulated(x, fs, track, count)
    return bands, rate


def _demodulated(
    x: np.ndarray, fs: float, f0_hz: np.ndarray, count: int
) -> tuple[np.ndarray, float, int]:
    down = int(fs / RATE_HZ)
    half_band = min(0.42 * f0_hz[0], 0.45 * fs / down)
    taps = np.hanning(int(2.0 * fs / half_band) + 2)[1:-1]
    taps = (taps / taps.sum()).astype(np.float32)
    turn = np.exp(-2j * np.pi * np.cumsum(f0_hz) / fs).astype(np.complex64)
    rows, product = [], x.astype(np.complex64)
    skip = len(taps) // (2 * down)
    for _ in range(count):
        product = product * turn
        rows.append(upfirdn(taps, product, down=down)[skip : skip + len(x) // down])
    bands = np.array(rows)
    edge = min(skip, bands.shape[1] // 6)  # the filter's run-in
    return bands[:, edge : bands.shape[1] - edge], fs / down, down


def _noise_power(x: np.ndarray, fs: float, f0_hz: float) -> float:
    """Return the noise power in a baseband, measured half way between partials."""
    between, _, _ = _demodulated(x, fs, np.full(len(x), 0.5 * f0_hz), 7)
    return float(np.median((np.abs(between[2::2]) ** 2).mean(axis=1)))


def _split(bands: np.ndarray, rate: float, f0_hz: float, noise: float) -> tuple[float, float]:
    gains = _line_gain(bands, rate, f0_hz, noise)  # (K, D)
    odd, even = gains[0::2], gains[1::2]
    score = np.sort(even, axis=0)[-4:].mean(axis=0) - np.sort(odd, axis=0)[-4:].mean(axis=0)
    best = int(np.argmax(score))
    return float(score[best]), float(OFFSETS_CENTS[best])


def _line_gain(bands: np.ndarray, rate: float, f0_hz: float, noise: float) -> np.ndarray:
    """Return log(residual without the line / residual with it) for each partial and offset."""
    count, n = bands.shape
    t = (np.arange(n) - 0.5 * (n - 1)) / rate
    still = np.linalg.qr(np.stack([np.ones(n), t, t * t], axis=1))[0]
    rest = bands - (bands @ still) @ still.T
    before = (np.abs(rest) ** 2).sum(axis=1)
    floor = n * noise + 1e-3 * (np.abs(bands) ** 2).sum(axis=1)
    gains = np.zeros((count, len(OFFSETS_CENTS)))
    for k in range(1, count + 1):
        hz = k * f0_hz * (2.0 ** (OFFSETS_CENTS / 1200.0) - 1.0)
        line = np.exp(2j * np.pi * hz[:, None] * t)  # (D, n)
        clear = line - (line @ still) @ still.T
        power = (np.abs(clear) ** 2).sum(axis=1)
        caught = np.abs(clear.conj() @ rest[k - 1]) ** 2 / np.maximum(power, 1e-9)
        caught *= (power > 0.2 * n) & (np.abs(hz) < 0.45 * rate)
        left = np.maximum(before[k - 1] - caught, 0.0) + floor[k - 1]
        gains[k - 1] = np.log((before[k - 1] + floor[k - 1]) / left)
    return gains


def _unrest(bands: np.ndarray, noise: float) -> float:
    """Return how much of the even basebands changes, less the same of the odd ones (log ratio)."""
    n = bands.shape[1]
    t = np.linspace(-1.0, 1.0, n)
    still = np.linalg.qr(np.stack([np.ones(n), t, t * t], axis=1))[0]
    rest = bands - (bands @ still) @ still.T
    power = (np.abs(bands) ** 2).mean(axis=1)
    change = np.maximum((np.abs(rest) ** 2).mean(axis=1) - noise, 0.0) / (power + 1e-20) + 1e-3
    heard = power > 4.0 * noise
    odd, even = np.log(change[0::2]), np.log(change[1::2])
    odd, even = odd[heard[0::2]], even[heard[1::2]]
    if not len(odd) or not len(even):
        return 0.0
    return float(np.median(even[:4]) - np.median(odd[:4]))


def _excess(level: np.ndarray, noise: float) -> tuple[float, float]:
    db = 10.0 * np.log10(np.maximum(level - noise, 0.1 * noise) + 1e-16)
    odd, even = db[0::2], db[1::2]
    around = 0.5 * (odd[: len(even)] + np.append(odd[1:], odd[-1])[: len(even)])
    over = even - around
    return float(np.mean(over[:4])), float(over[0])

"""One bright note, or an octave? The test that partial peaks cannot make.

Conventions
-----------
* ``f0_hz`` is the lower note. Partial k of it lies at k·f0; *odd* partials belong to the lower note
  alone, *even* ones may hold a partial of an upper note at 2·f0·2^(δ/1200): δ is the *offset* in
  cents, wide positive.
* A *baseband* is one partial moved to 0 Hz, complex, sampled at about 220 Hz.

Method
------
1. Cut every partial out of one FFT of the event (a short inverse FFT of the bins around it gives the
   baseband at a low rate).
2. Follow f0(t) from the odd partials: the amplitude-weighted mean of their phase steps, each
   divided by its number (the maximum-likelihood combination for a harmonic source).
3. Turn every baseband back by k·φ(t). Vibrato and wander common to the note vanish; what
   remains of a single note is nearly constant.
4. Ask of the even partials what the odd ones do not show, or one half of the odd ones against
   the other:

   * *pull*: a mean pitch a little off, *wobble*: a pitch that moves otherwise (two fingers never
     move alike), *motion*: a loudness that moves otherwise;
   * *split*: a second line at k·f0·(2^(δ/1200) - 1), the same δ for all. For each δ the drop
     of the log residual when that line is fitted beside a slowly changing constant (a generalised
     likelihood ratio; Kay, *Fundamentals of Statistical Signal Processing II*, 1998, ch. 6), less what
     odd partials show for the same δ;
   * *unrest*: how much less constant the even basebands are;
   * *excess*: how much louder than the odd partials around them.

5. A logistic function joins these into the probability of an octave. Its coefficients were
   fitted on made and real notes by ``tests/intonation/notes/fit_octaves.py``.

Within about 4 cents of pure, with a weak upper note, nothing in the sound tells the two apart:
the probability is then neither high nor low and the reading stays open.
"""

from dataclasses import dataclass

import numpy as np
from scipy.fft import ifft, next_fast_len, rfft
from scipy.ndimage import uniform_filter1d

from studio.intonation.notes.audio import Sound

PARTIALS = 12
HIGHEST_HZ = 6000.0
WIDEST_HZ = 150.0  # half a baseband
LONGEST_S = 1.6  # of an event's middle; more costs time and tells little more
SHORTEST_S = 0.2
SMOOTH_S = 0.1  # pitch and loudness tracks
OFFSETS_CENTS = np.concatenate([-np.arange(60.0, 1.0, -2.0), np.arange(2.0, 61.0, 2.0)])
SIGNS = 13
EXCESS = 4  # place of the excess among them
# Fitted by tests/intonation/notes/fit_octaves.py, in the order of octave_signs.
WEIGHTS = np.array(
    [0.7677, 1.6372, 1.8566, 1.1819, 0.3742, 0.0268, 1.2934]
    + [-0.0665, 1.5343, -1.3185, 1.9648, 0.1005, 0.0276]
)
BIAS = -2.7441
SURE = 0.82  # probability above which an octave is reported: of single notes about 1 % reach it
OPEN = 0.35  # above: cannot be told
STILL_SURE = 0.5  # where the spectrum's peaks already show both notes


@dataclass(frozen=True, slots=True)
class OctaveSigns:
    """What the even partials show: ``values``, shape (SIGNS,), and the best δ in cents."""

    values: np.ndarray
    offset_cents: float


def octave_signs(sound: Sound, start_s: float, end_s: float, f0_hz: float) -> OctaveSigns | None:
    """Return the signs of an upper octave over a span, or None where it is too short."""
    length_s = min(end_s - start_s, LONGEST_S)
    if length_s < SHORTEST_S:
        return None
    first = int((0.5 * (start_s + end_s) - 0.5 * length_s) * sound.fs)
    x = sound.read(first, int(length_s * sound.fs))
    count = int(np.clip(HIGHEST_HZ / f0_hz, 4, PARTIALS))
    raw, noise, rate = basebands(x, sound.fs, f0_hz, count)
    bands = steadied(raw, rate, f0_hz)
    level = (np.abs(bands) ** 2).mean(axis=1)
    split, offset = _split(bands, rate, f0_hz, noise)
    pitch = _pitch_signs(bands, rate, f0_hz, level / noise)
    excess, low = _excess(level, noise)
    odd_snr_db = 10.0 * np.log10(np.median((level / noise)[0:6:2]) + 1e-9)
    values = [split, split * np.sqrt(length_s), max(split - 0.4, 0.0), _unrest(bands, noise)]
    values += [excess, low, *pitch, *_motion(bands, rate, noise), min(odd_snr_db, 30.0)]
    return OctaveSigns(np.array(values), offset)


def probability(signs: OctaveSigns) -> float:
    """Return the probability, 0..1, that an upper octave sounds: the logistic of the signs."""
    return float(1.0 / (1.0 + np.exp(-(signs.values @ WEIGHTS + BIAS))))


def basebands(
    x: np.ndarray, fs: float, f0_hz: float, count: int
) -> tuple[np.ndarray, float, float]:
    """Return partials 1 to ``count`` moved to 0 Hz, the noise power in such a band, the rate.

    A band's window in frequency is a cosine's upper half, so its neighbours are cut off softly.
    """
    size = next_fast_len(len(x))
    spectrum = rfft(x - x.mean(), size) / size
    half = int(min(0.45 * f0_hz, WIDEST_HZ) * size / fs)
    window = np.cos(0.5 * np.pi * np.arange(-half, half + 1) / (half + 1)) ** 0.5
    rate = (2 * half + 1) * fs / size
    keep = int(len(x) / size * (2 * half + 1))
    trim = max(1, keep // 25)
    padded = np.pad(spectrum, (half + 1, 2 * half + 2))
    rows = []
    for k in range(1, count + 1):
        centre = round(k * f0_hz * size / fs)
        piece = padded[centre + 1 : centre + 2 * half + 2] * window
        band = ifft(np.fft.ifftshift(piece))[:keep] * (2 * half + 1)
        shift_hz = k * f0_hz - centre * fs / size
        band *= np.exp(-2j * np.pi * shift_hz * np.arange(keep) / rate)
        rows.append(band[trim : keep - trim])
    return np.array(rows), _noise_power(spectrum, fs / size, f0_hz, window), rate


def _noise_power(spectrum: np.ndarray, bin_hz: float, f0_hz: float, window: np.ndarray) -> float:
    """Return the noise power in a baseband, from the bins half way between partials."""
    width = max(2, int(0.12 * f0_hz / bin_hz))
    centres = [int((k + 0.5) * f0_hz / bin_hz) for k in range(1, 8)]
    power = [np.abs(spectrum[max(0, c - width) : c + width]) ** 2 for c in centres]
    usable = [p.mean() for p in power if len(p)]
    return float(np.median(usable) * (window**2).sum()) + 1e-16


def steadied(bands: np.ndarray, rate: float, f0_hz: float) -> np.ndarray:
    """Return basebands turned back by the pitch the odd partials follow."""
    odd = bands[0::2]
    k = np.arange(1, len(bands) + 1, 2)[:, None]
    step = odd[:, 1:] * odd[:, :-1].conj()
    weight = np.abs(step) * k
    off_hz = (weight * np.angle(step)).sum(axis=0) / ((weight * k).sum(axis=0) + 1e-30)
    off_hz *= rate / (2.0 * np.pi)
    smooth = np.hanning(max(3, int(0.05 * rate) | 1) + 2)[1:-1]
    padded = np.pad(off_hz, len(smooth) // 2, mode="edge")
    off_hz = np.convolve(padded, smooth / smooth.sum(), "valid")
    limit = 0.04 * f0_hz  # 70 cents: wider vibrato than any
    phase = 2.0 * np.pi * np.cumsum(np.clip(off_hz, -limit, limit)) / rate
    phase = np.append(phase, phase[-1:])[: bands.shape[1]]
    return bands * np.exp(-1j * np.arange(1, len(bands) + 1)[:, None] * phase)


def _pitch_signs(
    bands: np.ndarray, rate: float, f0_hz: float, snr: np.ndarray
) -> tuple[float, float, float, float]:
    """Return log of pull and wobble (cents): even against odd, then odd against odd."""
    step = bands[:, 1:] * bands[:, :-1].conj()
    step /= (np.abs(bands) ** 2).mean(axis=1, keepdims=True) + 1e-30
    width = max(3, int(SMOOTH_S * rate))
    step = uniform_filter1d(step.real, width, axis=1, mode="nearest") + 1j * uniform_filter1d(
        step.imag, width, axis=1, mode="nearest"
    )
    k = np.arange(1, len(bands) + 1)
    cents = np.angle(step) * (rate / (2.0 * np.pi) / f0_hz * 1731.2) / k[:, None]
    trust = np.where(snr > 4.0, k * np.sqrt(np.minimum(snr, 100.0)), 1e-9)[:, None] * np.abs(step)

    def together(rows: slice) -> np.ndarray:
        return (cents[rows] * trust[rows]).sum(axis=0) / (trust[rows].sum(axis=0) + 1e-12)

    apart = together(slice(1, None, 2)) - together(slice(0, None, 2))
    usual = together(slice(0, None, 4)) - together(slice(2, None, 4))
    return (
        float(np.log(abs(apart.mean()) + 0.3)),
        float(np.log(abs(usual.mean()) + 0.3)),
        float(np.log(apart.std() + 0.5)),
        float(np.log(usual.std() + 0.5)),
    )


def _motion(bands: np.ndarray, rate: float, noise: float) -> tuple[float, float]:
    """Return how loudness moves (log of nepers): even against odd, then odd against odd."""
    power = uniform_filter1d(np.abs(bands) ** 2, max(3, int(SMOOTH_S * rate)), axis=1)
    level = np.log(power + 0.5 * noise)
    apart = np.median(level[1:8:2], axis=0) - np.median(level[0:8:2], axis=0)
    usual = np.median(level[0:8:4], axis=0) - np.median(level[2:8:4], axis=0)
    return float(np.log(apart.std() + 0.1)), float(np.log(usual.std() + 0.1))


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

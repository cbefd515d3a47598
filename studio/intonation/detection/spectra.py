"""Short-time spectra, their noise floor and their peaks.

Conventions
-----------
* A *frame* is one row of power over frequency. Powers are normalised so that a sinusoid of
  amplitude a has a peak of a²/4 whatever the window; decibels are 10·log10 of that.
* Bin b lies at ``b * fs / N_FFT`` Hz, about 5.4 Hz apart.
* A quiet frame has a floor of at least ``QUIETEST_DB``; silence has no peaks.

Method
------
Two Hann windows share one frame (a two-band version of multi-resolution analysis, e.g. Dressler,
DAFx 2006): 186 ms below ``SPLIT_HZ``, where neighbouring partials of two low notes are close, and
93 ms above, where vibrato moves a partial by more than a bin while the window lasts. The power of
neighbouring frames is averaged. The noise floor is a low percentile over frequency. Peaks are the
maxima that stand above the floor and are not a stronger peak's skirt; a parabola through three
decibel values places them between bins (Smith & Serra, ICMC 1987).
"""

from dataclasses import dataclass

import numpy as np
from scipy.fft import rfft
from scipy.ndimage import maximum_filter1d

# Chosen on made clips and recorded notes:
N_FFT = 4096  # samples at the analysis rate, 186 ms: resolves partials of two low notes
SHORT = 2048  # samples, 93 ms: vibrato moves a high partial through a longer window
SPLIT_HZ = 1100.0  # from here on the short window; its size hardly matters
TOP_HZ = 7000.0  # peaks above tell little about pitch: bow noise, codec, small microphones
TOP_KEPT = 1.02  # times TOP_HZ of spectrum kept, so that the last peak has its sides
BOTTOM_HZ = 100.0  # lower peaks are hum and steps: a viola's lowest note is 131 Hz
BAND = 40  # bins of one noise band, about 215 Hz
FLOOR_PERCENTILE = 0.2  # share of a band's bins below its floor: most of it may be partials
FLOOR_BIAS_DB = 5.0  # from that percentile of averaged noise power up to its mean
QUIETEST_DB = -100.0  # re full scale: below any microphone's own noise
PEAK_ABOVE_FLOOR_DB = 7.0  # lower shows weaker partials, and more of the noise
SKIRT_DB = 24.0  # a maximum this far below a neighbour is that neighbour's side lobe
MAX_PEAKS = 44  # strongest ones of a frame; four voices of eleven partials
NO_PEAK_DB = -200.0  # stands in an empty place: below any level


@dataclass(slots=True)
class Spectra:
    """Frames with their peaks. T frames, F bins, P = ``MAX_PEAKS`` peaks, NaN-free.

    ``db``, ``floor_db`` : shape (T, F). ``peak_hz``, ``peak_db``, ``peak_snr_db`` : shape (T, P);
    an empty place has 0 Hz and ``NO_PEAK_DB``. ``bin_hz`` is the distance of bins.
    """

    db: np.ndarray
    floor_db: np.ndarray
    peak_hz: np.ndarray
    peak_db: np.ndarray
    peak_snr_db: np.ndarray
    bin_hz: float


def _windows() -> np.ndarray:
    long = np.hanning(N_FFT + 1)[:-1]
    short = np.zeros(N_FFT)
    at = (N_FFT - SHORT) // 2
    short[at : at + SHORT] = np.hanning(SHORT + 1)[:-1]
    return np.stack([long / long.sum(), short / short.sum()]).astype(np.float32)


_LONG, _SHORT = _windows()


def frame_power(x: np.ndarray, hop: int, fs: float) -> np.ndarray:
    """Return the power of every whole frame of ``x``: shape (frames, bins up to ``TOP_HZ``).

    Frame i covers samples i·hop to i·hop + N_FFT. Empty when ``x`` is shorter than one frame.
    """
    top = int(np.ceil(TOP_HZ * TOP_KEPT * N_FFT / fs)) + 2
    top = min(top, N_FFT // 2)
    split = int(SPLIT_HZ * N_FFT / fs)
    if len(x) < N_FFT:
        return np.zeros((0, top), np.float32)
    pieces = np.lib.stride_tricks.sliding_window_view(x, N_FFT)[::hop]
    power = np.empty((len(pieces), top), np.float32)
    for first in range(0, len(pieces), 128):  # keeps the work inside the cache
        some = pieces[first : first + 128]
        low = rfft(some * _LONG, axis=1)[:, :split]
        high = rfft(some * _SHORT, axis=1)[:, split:top]
        power[first : first + 128, :split] = low.real**2 + low.imag**2
        power[first : first + 128, split:] = high.real**2 + high.imag**2
    return power


def analyse(power: np.ndarray, fs: float) -> Spectra:
    """Return floor and peaks of frames of power, shape (T, F) from :func:`frame_power`."""
    bin_hz = fs / N_FFT
    db = 10.0 * np.log10(power + np.float32(1e-14))
    floor = noise_floor(db)
    hz, level, snr = _peaks(db, floor, bin_hz)
    return Spectra(db, floor, hz, level, snr, bin_hz)


def noise_floor(db: np.ndarray) -> np.ndarray:
    """Return the noise floor in dB, shape of ``db``: per band a low percentile, interpolated."""
    bins = db.shape[1]
    half = BAND // 2
    starts = np.arange(0, max(1, bins - BAND + 1), half)
    bands = np.stack([db[:, s : s + BAND] for s in starts], axis=1)
    rank = int(FLOOR_PERCENTILE * bands.shape[2])
    low = np.partition(bands, rank, axis=2)[:, :, rank] + FLOOR_BIAS_DB
    centre = starts + half
    at = np.clip((np.arange(bins) - centre[0]) / half, 0.0, len(starts) - 1.0)
    left = np.minimum(at.astype(int), max(0, len(starts) - 2))
    right = np.minimum(left + 1, len(starts) - 1)
    share = (at - left).astype(np.float32)
    floor = low[:, left] * (1.0 - share) + low[:, right] * share
    return np.maximum(floor, np.float32(QUIETEST_DB))


def _peaks(
    db: np.ndarray, floor: np.ndarray, bin_hz: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    frames, bins = db.shape
    split = int(SPLIT_HZ / bin_hz)
    around = np.concatenate(
        [maximum_filter1d(db[:, :split], 9, axis=1), maximum_filter1d(db[:, split:], 17, axis=1)],
        axis=1,
    )
    is_peak = np.zeros(db.shape, bool)
    mid = db[:, 1:-1]
    is_peak[:, 1:-1] = (mid > db[:, :-2]) & (mid >= db[:, 2:])
    is_peak &= (db > floor + PEAK_ABOVE_FLOOR_DB) & (db > around - SKIRT_DB)
    is_peak[:, : int(BOTTOM_HZ / bin_hz)] = False
    is_peak[:, min(bins - 1, int(TOP_HZ / bin_hz)) :] = False
    shown = np.where(is_peak, db, np.float32(NO_PEAK_DB))
    best = np.argpartition(-shown, MAX_PEAKS, axis=1)[:, :MAX_PEAKS]
    best.sort(axis=1)
    row = np.arange(frames)[:, None]
    level = shown[row, best]
    left, right = db[row, np.maximum(best - 1, 0)], db[row, np.minimum(best + 1, bins - 1)]
    bend = left - 2.0 * db[row, best] + right
    shift = np.clip(0.5 * (left - right) / np.where(bend < -1e-6, bend, -1e-6), -0.5, 0.5)
    hz = np.where(level > NO_PEAK_DB + 1.0, (best + shift) * bin_hz, 0.0)
    snr = np.where(level > NO_PEAK_DB + 1.0, level - floor[row, best], 0.0)
    return hz, level, snr

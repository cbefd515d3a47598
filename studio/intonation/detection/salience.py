"""Candidate pitches: which fundamentals could explain what a frame shows.

Conventions: candidates are in Hz, shape (T, C), 0 where there are fewer than C. T frames.

Method
------
Harmonic summation (Klapuri, ISMIR 2006): the salience of a pitch is the sum of what stands above
the noise at its partials, each partial counting 0.85 of the one below. It is computed for a grid of
10 cents over the whole range at once. Its maxima are candidates. Two kinds are added, because in
a double stop the weaker note's salience can drown in the stronger one's overtones:

* *strong peaks*, each a possible fundamental;
* *residual candidates*: the strongest peaks that the most salient pitch leaves unexplained,
  divided by 1, 2 and 3.

Each candidate is then fitted to the peaks near its partials by weighted least squares; the most
salient ones also to their odd partials alone, because the upper note of a mistuned octave pulls the
even ones.
"""

import numpy as np
from scipy.ndimage import maximum_filter1d

from studio.intonation.detection.spectra import Spectra
from studio.theory import as_ratio, in_cents

STEP_CENTS = 10.0
DECAY = 0.85
PARTIALS = 10
CAP_DB = 36.0  # loudness beyond this tells no more about pitch
CANDIDATES = 14
ODD = 2  # of the most salient pitches
NEW_CENTS = 8.0  # from every other candidate: nearer, the even partials tell the same
TOO_CLOSE_CENTS = 35.0  # two candidates nearer than this are one


def grid_hz(floor_hz: float, top_hz: float) -> np.ndarray:
    """Return the pitch grid: ``STEP_CENTS`` apart from ``floor_hz`` to ``top_hz``."""
    count = int(np.ceil(in_cents(top_hz / floor_hz) / STEP_CENTS)) + 1
    return floor_hz * as_ratio(np.arange(count) * STEP_CENTS)


def salience(spectra: Spectra, grid: np.ndarray) -> np.ndarray:
    """Return the salience of every grid pitch, shape (T, G), in units of about one partial."""
    above = np.clip((spectra.db - spectra.floor_db - 4.0) / CAP_DB, 0.0, 1.0)
    above *= np.clip((spectra.db - spectra.db.max(axis=1, keepdims=True) + 45.0) / 45.0, 0.0, 1.0)
    above = maximum_filter1d(above, 3, axis=1)
    total = np.zeros((len(above), len(grid)), np.float32)
    for k in range(1, PARTIALS + 1):
        at = np.rint(k * grid / spectra.bin_hz).astype(int)
        inside = at < above.shape[1]
        total[:, inside] += np.float32(DECAY ** (k - 1)) * above[:, at[inside]]
    return total


def candidates(spectra: Spectra, grid: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Return candidate pitches of every frame, shape (T, ``CANDIDATES``), strongest kinds first.

    ``weight`` (T, P) says how much each peak counts, see ``hypotheses.peak_weight``.
    """
    total = salience(spectra, grid)
    maxima = np.zeros(total.shape, bool)
    maxima[:, 1:-1] = (total[:, 1:-1] > total[:, :-2]) & (total[:, 1:-1] >= total[:, 2:])
    row = np.arange(len(total))[:, None]
    shown = np.where(maxima, total, 0.0)
    best = np.argsort(-shown, axis=1)[:, :8]
    salient = np.where(shown[row, best] > 0.3, grid[best], 0.0)
    loud = _strongest(spectra.peak_hz, weight, 7)
    left = _residual(spectra, weight, salient[:, :2])
    first = fit_to_peaks(salient[:, :1], spectra.peak_hz, weight)
    odd = fit_to_peaks(salient[:, :ODD], spectra.peak_hz, weight, step=2)
    # A second note is placed by the peaks that the first leaves: a partial that falls together
    # with one of the first's pulls it by many cents where the interval is out of tune.
    others = np.concatenate([salient[:, 1:], loud, left], axis=1)
    free = _free(spectra, weight, first)
    alone = fit_to_peaks(others, spectra.peak_hz, free)
    both = np.concatenate([first, alone, fit_to_peaks(loud, spectra.peak_hz, weight)], axis=1)
    both[(both < grid[0]) | (both > grid[-1])] = 0.0
    odd[(odd < grid[0]) | (odd > grid[-1])] = 0.0
    found = _distinct(both, CANDIDATES)
    odd = _new(odd, found[:, :-ODD])
    found[:, -ODD:] = np.where(odd > 0.0, odd, found[:, -ODD:])  # in place of the unlikeliest
    return found


def _new(f0_hz: np.ndarray, known_hz: np.ndarray) -> np.ndarray:
    """Return ``f0_hz`` (T, C) with 0 for what stands within ``NEW_CENTS`` of a known one."""
    ratio = np.maximum(f0_hz, 1.0)[:, :, None] / np.maximum(known_hz, 1.0)[:, None, :]
    known = (np.abs(in_cents(ratio)) < NEW_CENTS).any(axis=2)
    return np.where(known, 0.0, f0_hz)


def _strongest(hz: np.ndarray, weight: np.ndarray, count: int) -> np.ndarray:
    row = np.arange(len(hz))[:, None]
    # Low peaks first among equals: a fundamental matters more than an overtone.
    order = np.argsort(-weight * (1.0 + 300.0 / (hz + 300.0)), axis=1)[:, :count]
    return np.where(weight[row, order] > 0.15, hz[row, order], 0.0)


def _residual(spectra: Spectra, weight: np.ndarray, salient: np.ndarray) -> np.ndarray:
    found = []
    for c in range(salient.shape[1]):
        free = _free(spectra, weight, salient[:, c : c + 1])
        peaks = _strongest(spectra.peak_hz, free, 3)
        found += [peaks, peaks / 2.0, peaks[:, :2] / 3.0]
    return np.concatenate(found, axis=1)


def _free(spectra: Spectra, weight: np.ndarray, f0_hz: np.ndarray) -> np.ndarray:
    """Return the weights (T, P) of peaks that one note (T, 1) leaves; those it explains get 0."""
    one = fit_to_peaks(f0_hz, spectra.peak_hz, weight)
    _, off, tol = partial_of(spectra.peak_hz[:, None, :], one[:, :, None])
    return np.where((np.abs(off) > 1.5 * tol)[:, 0], weight, 0.0)


def partial_of(peak_hz: np.ndarray, f0_hz: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return (number k of the nearest partial, distance in Hz, tolerance in Hz).

    A peak is placed within about 3 Hz and a fundamental within about 10 cents: the tolerance.
    A missing candidate (0 Hz) is infinitely far from every peak.
    """
    safe = np.where(f0_hz > 0.0, f0_hz, 1.0)
    k = np.maximum(1.0, np.rint(peak_hz / safe))
    tol = 3.0 + 0.006 * peak_hz
    off = np.where((f0_hz > 0.0) & (peak_hz > 0.0), peak_hz - k * safe, 1e6)
    return k, off, tol


def fit_to_peaks(
    f0_hz: np.ndarray, peak_hz: np.ndarray, weight: np.ndarray, step: int = 1
) -> np.ndarray:
    """Return ``f0_hz`` (T, C) moved to fit the peaks near its partials.

    Weighted least squares of peak = k·f0 over partials k <= 10, from low ones up:
    f0 = sum(w·k·peak) / sum(w·k²), w falling with distance; k = 1, 1 + ``step`` ...
    """
    fitted = f0_hz
    for top in (3.0, 10.0):
        k, off, tol = partial_of(peak_hz[:, None, :], fitted[:, :, None])
        w = weight[:, None, :] * np.exp(-((off / (1.5 * tol)) ** 2)) * (k <= top)
        if step > 1:
            w = w * (k % step == 1)
        mass = (w * k * k).sum(axis=2)
        best = (w * k * peak_hz[:, None, :]).sum(axis=2) / np.where(mass > 1e-6, mass, 1.0)
        fitted = np.where(mass > 1e-3, best, fitted)
    return fitted


def _distinct(f0_hz: np.ndarray, count: int) -> np.ndarray:
    """Keep the first of any that agree within ``TOO_CLOSE_CENTS``; pack to ``count`` columns."""
    cents = in_cents(np.where(f0_hz > 0.0, f0_hz, 1e-3))
    close = np.abs(cents[:, :, None] - cents[:, None, :]) < TOO_CLOSE_CENTS
    keep = f0_hz > 0.0
    for c in range(1, f0_hz.shape[1]):
        keep[:, c] &= ~(close[:, c, :c] & keep[:, :c]).any(axis=1)
    order = np.argsort(~keep, axis=1, kind="stable")[:, :count]
    row = np.arange(len(f0_hz))[:, None]
    return np.where(keep[row, order], f0_hz[row, order], 0.0)

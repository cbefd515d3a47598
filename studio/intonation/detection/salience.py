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

# Chosen on made clips and recorded notes:
STEP_CENTS = 10.0  # of the grid; the fit to the peaks is finer
DECAY = 0.85  # weight of a partial re the one below it: spectra of bowed strings fall
PARTIALS = 10  # summed; higher ones are blurred by vibrato and bow noise
CAP_DB = 36.0  # loudness beyond this tells no more about pitch
ABOVE_DB = 4.0  # over the noise, from which a bin counts: the noise itself stands up to it
RANGE_DB = 45.0  # below a frame's loudest bin a bin counts nothing: leakage, room
CANDIDATES = 14  # a frame; more finds little and costs time with its square
ODD = 2  # of the most salient pitches
NEW_CENTS = 8.0  # from every other candidate: nearer, the even partials tell the same
TOO_CLOSE_CENTS = 35.0  # two candidates nearer than this are one
SALIENT, SALIENT_MOST = 0.3, 8  # least salience (partials) of a candidate; maxima looked at
STRONG, STRONG_MOST = 0.15, 7  # least weight of a strong peak; how many are candidates
RESIDUAL_MOST, RESIDUAL_LOW = 3, 2  # unexplained peaks taken, and divided by three
LOW_PEAK_HZ = 300.0  # below about this a peak's lowness counts double
# A peak is placed within 3 Hz (half a bin) and a fundamental within 10 cents (0.6 %).
TOLERANCE_HZ, TOLERANCE_SHARE = 3.0, 0.006
WITHIN_TOLERANCES = 1.5  # distances up to which a partial explains a peak; soft in the fit
FIT_PARTIALS = (3.0, 10.0)  # highest used: low ones first, they forgive a start that is off
LEAST_MASS = 1e-3  # weight of the peaks below which there is nothing to fit to
NOWHERE_HZ = 1e6  # distance of a peak from a candidate that is missing
NOT_A_PITCH_HZ = 1e-3  # stands for a missing candidate, far from every pitch


def grid_hz(floor_hz: float, top_hz: float) -> np.ndarray:
    """Return the pitch grid: ``STEP_CENTS`` apart from ``floor_hz`` to ``top_hz``."""
    count = int(np.ceil(in_cents(top_hz / floor_hz) / STEP_CENTS)) + 1
    return floor_hz * as_ratio(np.arange(count) * STEP_CENTS)


def salience(spectra: Spectra, grid: np.ndarray) -> np.ndarray:
    """Return the salience of every grid pitch, shape (T, G), in units of about one partial."""
    above = np.clip((spectra.db - spectra.floor_db - ABOVE_DB) / CAP_DB, 0.0, 1.0)
    below_top = spectra.db - spectra.db.max(axis=1, keepdims=True)
    above *= np.clip((below_top + RANGE_DB) / RANGE_DB, 0.0, 1.0)
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
    best = np.argsort(-shown, axis=1)[:, :SALIENT_MOST]
    salient = np.where(shown[row, best] > SALIENT, grid[best], 0.0)
    loud = _strongest(spectra.peak_hz, weight, STRONG_MOST)
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
    order = np.argsort(-weight * (1.0 + LOW_PEAK_HZ / (hz + LOW_PEAK_HZ)), axis=1)[:, :count]
    return np.where(weight[row, order] > STRONG, hz[row, order], 0.0)


def _residual(spectra: Spectra, weight: np.ndarray, salient: np.ndarray) -> np.ndarray:
    found = []
    for c in range(salient.shape[1]):
        free = _free(spectra, weight, salient[:, c : c + 1])
        peaks = _strongest(spectra.peak_hz, free, RESIDUAL_MOST)
        found += [peaks, peaks / 2, peaks[:, :RESIDUAL_LOW] / 3]
    return np.concatenate(found, axis=1)


def _free(spectra: Spectra, weight: np.ndarray, f0_hz: np.ndarray) -> np.ndarray:
    """Return the weights (T, P) of peaks that one note (T, 1) leaves; those it explains get 0."""
    one = fit_to_peaks(f0_hz, spectra.peak_hz, weight)
    _, off, tol = partial_of(spectra.peak_hz[:, None, :], one[:, :, None])
    return np.where((np.abs(off) > WITHIN_TOLERANCES * tol)[:, 0], weight, 0.0)


def partial_of(peak_hz: np.ndarray, f0_hz: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return (number k of the nearest partial, distance in Hz, tolerance in Hz).

    A missing candidate (0 Hz) is infinitely far from every peak.
    """
    safe = np.where(f0_hz > 0.0, f0_hz, 1.0)
    k = np.maximum(1.0, np.rint(peak_hz / safe))
    tol = TOLERANCE_HZ + TOLERANCE_SHARE * peak_hz
    off = np.where((f0_hz > 0.0) & (peak_hz > 0.0), peak_hz - k * safe, NOWHERE_HZ)
    return k, off, tol


def fit_to_peaks(
    f0_hz: np.ndarray, peak_hz: np.ndarray, weight: np.ndarray, step: int = 1
) -> np.ndarray:
    """Return ``f0_hz`` (T, C) moved to fit the peaks near its partials.

    Weighted least squares of peak = k·f0 over partials k <= 10, from low ones up:
    f0 = sum(w·k·peak) / sum(w·k²), w falling with distance; k = 1, 1 + ``step`` ...
    """
    fitted = f0_hz
    for top in FIT_PARTIALS:
        k, off, tol = partial_of(peak_hz[:, None, :], fitted[:, :, None])
        w = weight[:, None, :] * np.exp(-((off / (WITHIN_TOLERANCES * tol)) ** 2)) * (k <= top)
        if step > 1:
            w = w * (k % step == 1)
        mass = (w * k * k).sum(axis=2)
        best = (w * k * peak_hz[:, None, :]).sum(axis=2) / np.where(mass > 1e-6, mass, 1.0)
        fitted = np.where(mass > LEAST_MASS, best, fitted)
    return fitted


def _distinct(f0_hz: np.ndarray, count: int) -> np.ndarray:
    """Keep the first of any that agree within ``TOO_CLOSE_CENTS``; pack to ``count`` columns."""
    cents = in_cents(np.where(f0_hz > 0.0, f0_hz, NOT_A_PITCH_HZ))
    close = np.abs(cents[:, :, None] - cents[:, None, :]) < TOO_CLOSE_CENTS
    keep = f0_hz > 0.0
    for c in range(1, f0_hz.shape[1]):
        keep[:, c] &= ~(close[:, c, :c] & keep[:, :c]).any(axis=1)
    order = np.argsort(~keep, axis=1, kind="stable")[:, :count]
    row = np.arange(len(f0_hz))[:, None]
    return np.where(keep[row, order], f0_hz[row, order], 0.0)

"""The pitch of a single note, read by its partials' phase: a second reader beside the listening.

Nothing of ``studio`` is in it. Within 60 cents of the pitch that the score names, the coarse
pitch is the peak of the autocorrelation. Each of the first partials is turned down to 0 Hz,
low-pass filtered, and its phase differentiated (the instantaneous frequency; Boashash 1992, *Proc.
IEEE* 80(4), 520-538). Its pitch is the mean slope over the held part, weighted with cos^2 over
+-0.4 s about the middle, as a true pitch is defined in ``tests.benchmarks.intonation``; moments at
which a room extinguishes it do not count. The note's is the partials' mean, weighted by amplitude;
its standard error is what their disagreement leaves.
"""

from dataclasses import dataclass

import numpy as np
from scipy.signal import butter, sosfiltfilt

AFTER_ONSET_S, BEFORE_END_S = 0.2, 0.05
LEAST_HELD_S = 0.1
WEIGHT_HALF_S = 0.4
PARTIALS = 6
HIGHEST_HZ = 8000.0
NARROW, NARROWEST_HZ = 0.03, 12.0  # low-pass: a share of the partial's frequency, and at least
MARGIN_S = 0.1  # read beside the held part, so that filters have settled in it
EXTINGUISHED = 0.05  # of its usual power
ASTRAY_CENTS = 15.0  # from the median of all: such a partial is another note's
ROUNDS = 3  # the filters must sit on the note: find it, then measure
WIDEST_CENTS = 60.0  # off the score's pitch
MOST_PERIODS = 8  # nine are 204 cents from eight: out of reach


@dataclass(frozen=True, slots=True)
class Reading:
    """Pitch in Hz, and its standard error in cents."""

    f0_hz: float
    error_cents: float


def read(y: np.ndarray, sr: int, near_hz: float, onset_s: float, end_s: float) -> Reading | None:
    """The note of ``y``, shape (n,), that sounds from ``onset_s`` to ``end_s`` near ``near_hz``.

    ``None`` where less than ``LEAST_HELD_S`` is held.
    """
    first_s, last_s = onset_s + AFTER_ONSET_S, end_s - BEFORE_END_S
    if last_s - first_s < LEAST_HELD_S:
        return None
    first, last = (round(at * sr) for at in (first_s - MARGIN_S, last_s + MARGIN_S))
    first = max(0, first)
    cut = y[first:last]
    at_s = (first + np.arange(len(cut))) / sr
    weights = _weights(at_s, first_s, last_s)
    inner = cut[(at_s >= first_s) & (at_s <= last_s)]
    f0_hz, error = _coarse_hz(inner, sr, near_hz), np.inf
    for _ in range(ROUNDS):
        count = max(1, min(PARTIALS, int(min(HIGHEST_HZ, 0.4 * sr) / f0_hz)))
        found = [_partial(cut, sr, f0_hz, k, weights) for k in range(1, count + 1)]
        moved, error = _joined(*np.array(found).T)
        f0_hz *= 2.0 ** (moved / 1200.0)
    return Reading(float(f0_hz), float(error))


def _weights(at_s: np.ndarray, first_s: float, last_s: float) -> np.ndarray:
    centre, half = 0.5 * (first_s + last_s), min(WEIGHT_HALF_S, 0.5 * (last_s - first_s))
    place = np.clip((at_s - centre) / half, -1.0, 1.0)
    return np.cos(0.5 * np.pi * place) ** 2


def _coarse_hz(y: np.ndarray, sr: int, near_hz: float) -> float:
    """The period near the score's that the autocorrelation likes best."""
    spectrum = np.fft.rfft(y, 2 * len(y))
    alike = np.fft.irfft(np.abs(spectrum) ** 2)[: len(y)]
    # Some periods on, since a whole sample is 20 cents of a high note's one.
    periods = max(1, min(MOST_PERIODS, int(0.25 * len(y) * near_hz / sr)))
    widest = 2.0 ** (WIDEST_CENTS / 1200.0)
    shortest, longest = (int(periods * sr / hz) for hz in (near_hz * widest, near_hz / widest))
    lags = np.arange(shortest + 1, longest + 1)
    return periods * sr / float(lags[np.argmax(alike[lags])])


def _partial(
    y: np.ndarray, sr: int, f0_hz: float, k: int, weights: np.ndarray
) -> tuple[float, float]:
    """(cents from ``f0_hz``, amplitude) of partial ``k``."""
    turned = y * np.exp(-2j * np.pi * k * f0_hz * np.arange(len(y)) / sr)
    low_pass = butter(2, NARROWEST_HZ + NARROW * k * f0_hz, fs=sr, output="sos")
    line = sosfiltfilt(low_pass, turned.real) + 1j * sosfiltfilt(low_pass, turned.imag)
    power = np.abs(line) ** 2
    usual = np.sum(weights * power) / np.sum(weights)
    counted = weights[1:] * (power[1:] > EXTINGUISHED * usual)
    slope = np.angle(line[1:] * np.conj(line[:-1]))
    hz = np.sum(counted * slope) / np.sum(counted) * sr / (2.0 * np.pi)
    return 1200.0 * np.log2(1.0 + hz / (k * f0_hz)), float(np.sqrt(usual))


def _joined(cents: np.ndarray, amplitude: np.ndarray) -> tuple[float, float]:
    """Weighted mean of the partials that agree, and its standard error, in cents."""
    order = np.argsort(cents)
    below = np.cumsum(amplitude[order])
    middle = cents[order][np.searchsorted(below, 0.5 * below[-1])]
    share = amplitude * (np.abs(cents - middle) <= ASTRAY_CENTS)
    share = share / np.sum(share)
    mean = float(np.sum(share * cents))
    apart = np.sum(share * (cents - mean) ** 2)
    return mean, float(np.sqrt(apart * np.sum(share**2)))

"""Is it a bowed string? Noise, talk and struck strings are heard too, and are not notes played.

Conventions: everything is read from the pooled spectrum of an event (one row of ``Spectra``).

Method
------
* *Clear*: a note's best partials stand far above the noise. In noise, the best of many bins
  stand only a few decibels above it.
* *Harmonic*: a steadily bowed string is periodic, so partial k lies at k·f0 exactly; a struck or
  plucked one is stiff, f_k = k·f0·sqrt(1 + B·k²) (Fletcher & Rossing, *The Physics of Musical
  Instruments*), a piano's B being 1e-4 to 1e-3 from the middle of the keyboard up. To first order
  f_k / (k·f0) = 1 + B·k²/2: B is the slope of a straight line over k²/2.
"""

import numpy as np

from studio.intonation.notes.frames import Spectra

CLEAR_DB = 14.0  # mean of a voice's three best partials over the noise
MOST_STIFFNESS = 5e-5
SURE_TIMES = 4.0  # the slope must exceed its own standard error by this factor
PARTIALS = 12


def clear_db(spectra: Spectra, row: int, f0: float) -> float:
    """Return how far a voice's three best partials stand above the noise, in dB, on average."""
    hz, snr = spectra.peak_hz[row], spectra.peak_snr_db[row]
    k = np.rint(hz / f0)
    near = (k >= 1) & (np.abs(hz - k * f0) < 4.0 + 0.012 * hz)
    best = np.sort(np.where(near, snr, 0.0))[-3:]
    return float(best.mean())


def stiffness(spectra: Spectra, row: int, f0: float, others: np.ndarray) -> tuple[float, float]:
    """Return (B, its standard error) of one voice, from peaks clear of the ``others`` (Hz).

    The error is infinite where fewer than four partials tell.
    """
    hz, snr = spectra.peak_hz[row], spectra.peak_snr_db[row]
    number, ratio, weight = [], [], []
    base, bend = f0, 0.0
    for k in range(1, PARTIALS + 1):
        expected = k * base * (1.0 + 0.5 * bend * k * k)
        near = np.flatnonzero((np.abs(hz - expected) < 3.0 + 0.008 * expected) & (snr > 10.0))
        if not len(near) or _shared(expected, others):
            continue
        peak = hz[near[np.argmax(snr[near])]]
        number.append(k)
        ratio.append(peak / k)
        weight.append(1.0 * k)  # a peak is placed to some hertz, so its ratio k times better
        if len(number) >= 3:
            base, bend, _ = _line(np.array(number), np.array(ratio), np.array(weight))
    if len(number) < 4:
        return 0.0, float("inf")
    _, bend, error = _line(np.array(number), np.array(ratio), np.array(weight))
    return bend, error


def _shared(hz: float, others: np.ndarray) -> bool:
    if not len(others):
        return False
    return bool((np.abs(hz - np.maximum(1, np.rint(hz / others)) * others) < 20.0).any())


def _line(k: np.ndarray, ratio: np.ndarray, weight: np.ndarray) -> tuple[float, float, float]:
    """Fit ratio = base·(1 + B·k²/2) by weighted least squares; return (base, B, error of B)."""
    design = np.stack([np.ones(len(k)), 0.5 * k * k], axis=1) * weight[:, None]
    normal = np.linalg.inv(design.T @ design + 1e-12 * np.eye(2))
    base, slope = normal @ design.T @ (ratio * weight)
    rest = ratio * weight - design @ np.array([base, slope])
    spread = np.sqrt((rest @ rest) / max(1, len(k) - 2) + 0.3**2)  # peaks: 0.3 Hz at the best
    return float(base), float(slope / base), float(spread * np.sqrt(normal[1, 1]) / base)


def is_struck(spectra: Spectra, row: int, f0: float, others: np.ndarray) -> bool:
    """Say whether a voice's partials are stretched as a struck string's."""
    bend, error = stiffness(spectra, row, f0, others)
    return bend > MOST_STIFFNESS and bend > SURE_TIMES * error

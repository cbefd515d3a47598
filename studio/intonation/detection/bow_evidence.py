"""Is it a bowed string? Noise, talk and struck strings are heard too, and are not notes played.

Conventions: everything is read from the pooled spectrum of an event (one row of ``Spectra``).

Method
------
* *Clear*: a note's best partials stand far above the noise. In noise, the best of many bins
  stand only a few decibels above it.
* *Harmonic*: a steadily bowed string is periodic, so partial k lies at k·f0 exactly; a struck or
  plucked one is stiff, f_k = k·f0·sqrt(1 + B·k²) (Fletcher & Rossing, *The Physics of Musical
  Instruments*), a piano's B being 1e-4 to 1e-3 from the middle of the keyboard up. The spectrum is
  compared with both: the number of clear peaks that the best stretched series places to some
  hertz, less what the best exact one does.
"""

import numpy as np

from studio.intonation.detection.spectra import Spectra
from studio.theory import as_ratio

CLEAR_DB = 14.0  # mean of a voice's three best partials over the noise
STIFFNESS = np.concatenate([[0.0, -3e-5, 3e-5], np.arange(8e-5, 1.6e-3, 4e-5)])  # B; three exact
EXACT = 3
BASES = as_ratio(np.arange(-16.0, 17.0, 2.0))  # f0 may be this far off
STRUCK_PEAKS = 3.0  # how many more clear peaks the stretched series must place
FADING_PEAKS = 2.2  # the same for a sound that fades from its start, as struck ones do
FADING_DB_PER_S = -7.0
PARTIALS = 12


def clear_db(spectra: Spectra, row: int, f0: float) -> float:
    """Return how far a voice's three best partials stand above the noise, in dB, on average."""
    hz, snr = spectra.peak_hz[row], spectra.peak_snr_db[row]
    k = np.rint(hz / f0)
    near = (k >= 1) & (np.abs(hz - k * f0) < 4.0 + 0.012 * hz)
    best = np.sort(np.where(near, snr, 0.0))[-3:]
    return float(best.mean())


def struck_peaks(spectra: Spectra, row: int, f0: float, others: np.ndarray) -> float:
    """Return how many more clear peaks a stretched series places than an exact one.

    Peaks that the ``others`` (Hz, exact series) explain do not count.
    """
    hz, snr = spectra.peak_hz[row], spectra.peak_snr_db[row]
    usable = (snr > 10.0) & (hz > 0.5 * f0) & (hz < (PARTIALS + 1.5) * f0) & ~_shared(hz, others)
    hz, weight = hz[usable], np.clip((snr[usable] - 10.0) / 15.0, 0.0, 1.0)
    if len(hz) < 4:
        return 0.0
    # The partial nearest to a peak is one of four: a stretched series runs ahead of the exact one
    # by up to a tenth at its twelfth.
    nearest = np.full((len(BASES), len(STIFFNESS), len(hz)), np.inf)
    for step in (-2.0, -1.0, 0.0, 1.0):
        k = np.clip(np.rint(hz / f0) + step, 1.0, PARTIALS)
        series = f0 * k * np.sqrt(1.0 + STIFFNESS[:, None] * k * k)  # (B, P)
        np.minimum(nearest, np.abs(BASES[:, None, None] * series - hz), out=nearest)
    placed = (weight * np.exp(-((nearest / (1.5 + 0.001 * hz)) ** 2))).sum(axis=2).max(axis=0)
    return float(placed[EXACT:].max() - placed[:EXACT].max())


def _shared(hz: np.ndarray, others: np.ndarray) -> np.ndarray:
    if not len(others):
        return np.zeros(len(hz), bool)
    number = np.maximum(1.0, np.rint(hz[:, None] / others))
    return (np.abs(hz[:, None] - number * others) < 4.0 + 0.004 * hz[:, None]).any(axis=1)


def is_struck(
    spectra: Spectra, row: int, f0: float, others: np.ndarray, slope_db_per_s: float
) -> bool:
    """Say whether a voice's partials are stretched as a struck string's."""
    needed = FADING_PEAKS if slope_db_per_s < FADING_DB_PER_S else STRUCK_PEAKS
    return struck_peaks(spectra, row, f0, others) > needed

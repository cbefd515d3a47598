"""How a voice's partials sway together: shapes learned from its free partials.

Conventions: shapes are complex, shape (R, M), of unit mean square under the taper.

Method
------
Vibrato and the bow modulate the loudness of all partials at the same rates, and a room turns
vibrato into a smear that follows its period. Around an even partial such side lines look just
like a second voice a few cents away. What the voice's *free* partials do can be learned: each
is demodulated by the fitted phase, its smooth part is taken out, and the strongest common
shapes are the leading right singular vectors of what remains (principal components; Eckart &
Young 1936, *Psychometrika* 1, 211-218). Added to the amplitude basis they explain the side
lines, and only what the free partials do not show is left to argue for another voice.
"""

import numpy as np

from studio.intonation.estimation.joint_fit import Fit

MOST = 4
LEAST_SHARE = 0.003  # mean relative power of a shape worth adding
REACH_HZ = 16.0  # side lines farther out than this are left alone


def shapes(fit: Fit) -> np.ndarray:
    """Common modulation shapes of the clusters that hold one partial only, shape (R, M)."""
    bands = fit.bands
    alone = (bands.partial > 0).sum(axis=1) == 1
    if alone.sum() < 2:
        return np.zeros((0, len(bands.time_s)), dtype=complex)
    sways = len(fit.basis.sway)
    wave = fit.columns[alone, 0]  # tapered e^(i psi): the column of q = 0
    strength = fit.amplitudes[alone][:, :sways]
    carrier = np.where(bands.taper > 0, wave / np.maximum(bands.taper, 1e-3), 0)
    side = fit.residual[alone] * carrier.conj() / np.maximum(np.abs(strength[:, :1]), 1e-12)
    side = _low_pass(side, bands.time_s)
    # a partial in which side lines outweigh the line says nothing
    power = np.mean(np.abs(side) ** 2, axis=1)
    side = side / np.maximum(1.0, np.sqrt(power / 0.05))[:, None]
    _, sizes, rows = np.linalg.svd(side, full_matrices=False)
    share = sizes**2 / (len(bands.time_s) * len(side))
    keep = np.flatnonzero(share[:MOST] > LEAST_SHARE)
    return rows[keep] * np.sqrt(len(bands.time_s))


def _low_pass(side: np.ndarray, time_s: np.ndarray) -> np.ndarray:
    """Keep modulation rates below ``REACH_HZ``."""
    rate = np.fft.fftfreq(len(time_s), time_s[1] - time_s[0])
    return np.fft.ifft(np.fft.fft(side, axis=1) * (np.abs(rate) < REACH_HZ), axis=1)

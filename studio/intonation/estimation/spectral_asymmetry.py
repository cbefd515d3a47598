"""Carrier against centre: how lopsided a voice's partials are.

Conventions: cents per voice, positive where more of a partial's power lies above the fitted
pitch than below it.

Method
------
Two definitions of a partial's frequency agree for a clean tone and part on a real one: that of
its carrier, which the fit finds (the phase that holds on through every dip), and the centre of
its power (the mean of the instantaneous frequency, weighted with power; Boashash 1992, *Proc.
IEEE* 80, 520-538). Bow noise that favours one side, a swell tied to a movement, or a room's memory
of a moving pitch set them apart by tenths of a cent to a cent, the same for all partials. No
method can be righter than this: it is how well the note's pitch is defined.
"""

import numpy as np

from studio.intonation.estimation.basebands import KAPPA
from studio.intonation.estimation.joint_fit import Fit

MOST_WEIGHT = 50.0  # of one partial, per square cent, so that one cannot speak for all
EDGE = 0.05  # least taper divided by


def lopsided_cents(fit: Fit, weights: np.ndarray) -> np.ndarray:
    """Centre of power less carrier for every voice, shape (V,); 0 where no partial is alone.

    ``weights`` (M,): weighting over time.
    """
    bands = fit.bands
    result = np.zeros(len(fit.f0_hz))
    alone = (bands.partial > 0).sum(axis=1) == 1
    if not alone.any():
        return result
    slot = np.argmax(bands.partial > 0, axis=1)
    row = np.flatnonzero(alone)
    waves = fit.columns.reshape(*bands.partial.shape, -1, len(bands.time_s))
    taper = np.maximum(bands.taper, EDGE)
    side = bands.z[row] * waves[row, slot[row], 0].conj() / taper**2
    turned = (side[:, 1:] * side[:, :-1].conj()) @ np.sqrt(weights[1:] * weights[:-1])
    voice, k = bands.voice[row, slot[row]], bands.partial[row, slot[row]]
    step_s = bands.time_s[1] - bands.time_s[0]
    per_cent = 2 * np.pi * step_s * k * fit.f0_hz[voice] * KAPPA  # radians a sample
    power = np.abs(fit.amplitudes.reshape(*bands.partial.shape, -1)[row, slot[row], 0]) ** 2
    spread = np.sum((bands.taper * bands.time_s) ** 2)
    known = 2 * fit.weight[row] * power * (per_cent / step_s) ** 2 * spread  # per square cent
    trust = np.minimum(known, MOST_WEIGHT)
    away = np.angle(turned) / per_cent
    for v in set(voice.tolist()):
        mine = voice == v
        result[v] = np.sum(trust[mine] * away[mine]) / max(np.sum(trust[mine]), 1e-30)
    return result

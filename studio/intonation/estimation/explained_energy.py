"""Lock: how much of the sound around its partials each voice accounts for.

Conventions: 0..1 per voice; 0 says that leaving the voice out explains the sound as well.

Method
------
For every cluster with the voice in it, compare the residual of the joint fit with the residual
when the voice's columns are taken out (all other amplitudes refitted): 1 - RSS / RSS_without,
a partial F statistic in the shape of a coefficient of determination. The voice's lock is the
median over its best clusters: some partials of a bowed string are always too weak to say
anything. The smaller lock of two voices predicts the error of their interval better than the
curvature of the fit does.
"""

import numpy as np

from studio.intonation.estimation.joint_fit import Fit, power, project

SILENT = 1e-16  # a residual below this is no sound at all
BEST = 6  # clusters whose median is the lock


def voice_locks(fit: Fit) -> np.ndarray:
    """Lock of every voice, shape (V,)."""
    bands, sways = fit.bands, len(fit.basis.sway)
    full = power(fit.residual)
    owner = np.repeat(bands.voice, sways, axis=1)
    filled = np.repeat(bands.partial > 0, sways, axis=1)
    diagonal = fit.problem.diagonal
    locks = np.zeros(len(fit.f0_hz))
    for v in range(len(locks)):
        mine = filled & (owner == v)
        has = mine.any(axis=1)
        if not has.any():
            continue
        columns = np.where(mine[has][:, :, None], 0, fit.columns[has])
        _, _, residual = project(columns, bands.z[has], diagonal[has] + mine[has])
        without = power(residual)
        share = np.where(without > SILENT, 1 - full[has] / np.maximum(without, SILENT), 0.0)
        locks[v] = np.median(np.sort(share)[::-1][:BEST])
    return np.clip(locks, 0, 1)

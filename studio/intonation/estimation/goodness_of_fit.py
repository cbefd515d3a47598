"""How well a joint fit holds its voices: lock, lopsidedness, sway, and what the room leaves.

Conventions: one number for each voice, shape (V,). Lock is 0..1, where 0 says that leaving the
voice out explains the sound as well; lopsidedness is in cents, positive where more of a partial's
power lies above the fitted pitch than below it; sway is a share of power; levels are in dB.

Lock (:func:`voice_locks`)
--------------------------
How much of the sound around its partials each voice accounts for. For every cluster with the voice
in it, compare the residual of the joint fit with the residual
when the voice's columns are taken out (all other amplitudes refitted): 1 - RSS / RSS_without,
a partial F statistic in the shape of a coefficient of determination. The voice's lock is the
median over its best clusters: some partials of a bowed string are always too weak to say
anything. The smaller lock of two voices predicts the error of their interval better than the
curvature of the fit does.

Lopsidedness (:func:`lopsided_cents`)
-------------------------------------
Two definitions of a partial's frequency agree for a clean tone and part on a real one: that of
its carrier, which the fit finds (the phase that holds on through every dip), and the centre of
its power (the mean of the instantaneous frequency, weighted with power; Boashash 1992, *Proc.
IEEE* 80, 520-538). Bow noise that favours one side, a swell tied to a movement, or a room's memory
of a moving pitch set them apart by tenths of a cent to a cent, the same for all partials. No
method can be righter than this: it is how well the note's pitch is defined.

Sway and rest (:func:`sway_shares`, :func:`rest_db`)
----------------------------------------------------
A partial that reaches the microphone by many ways swells and fades, and its phase moves with it;
so does that of a bow that scratches. The share of the fitted amplitudes that is not constant tells
how much of that there was, also where the fit is close. What still sounds shortly after the end
(the room's tail, or noise) sounded during the note too.
"""

import numpy as np

from studio.intonation.estimation.basebands import KAPPA
from studio.intonation.estimation.joint_fit import Fit, power, project
from studio.intonation.percentiles import median

# Chosen; the uncertainty is fitted to what they give (tests/intonation/estimation/calibrate.py).
SILENT = 1e-16  # a residual below this is no sound at all
BEST = 6  # clusters whose median is the lock
MOST_WEIGHT = 50.0  # of one partial, per square cent, so that one cannot speak for all
EDGE = 0.05  # least taper divided by
STEADIEST = 6  # partials whose median speaks for a voice: the steadiest
UNKNOWN_SWAY = 0.1  # where no partial is alone
BEFORE_S, AFTER_S = (0.12, 0.03), (0.12, 0.18)  # from the onset back, from the offset on
EDGES_S = (0.1, 0.05)  # of the sounding, left out of its own level
PLAYED_DB = -5.0  # what is louder beside the sounding is played, not left over
QUIETEST_DB, UNKNOWN_DB = -30.0, -25.0  # less tells no more; where both sides are played
LEAST_SAMPLES = 65  # of a level: 3 ms


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
        locks[v] = median(np.sort(share)[::-1][:BEST])
    return np.clip(locks, 0, 1)


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


def sway_shares(fit: Fit) -> np.ndarray:
    """Power of each voice's partials beside their constant part, as a share of that, shape (V,).

    NaN for a voice of which no partial is alone in its cluster.
    """
    bands = fit.bands
    shares = np.full(len(fit.f0_hz), np.nan)
    filled = bands.partial > 0
    row = np.flatnonzero(filled.sum(axis=1) == 1)
    if not len(row):
        return shares
    slot = np.argmax(filled, axis=1)[row]
    power = np.abs(fit.amplitudes.reshape(*bands.partial.shape, -1)[row, slot]) ** 2
    share = power[:, 1:].sum(axis=1) / np.maximum(power[:, 0], 1e-20)
    voice = bands.voice[row, slot]
    for v in set(voice.tolist()):
        shares[v] = median(np.sort(share[voice == v])[:STEADIEST])
    return shares


def rest_db(y: np.ndarray, sr: float, start_s: float, end_s: float) -> float:
    """Level of what sounds just before and after a sounding, re the sounding itself, in dB.

    The louder of the two, as far as it is not played; ``UNKNOWN_DB`` where both are.
    """
    own = _level_db(y, sr, start_s + EDGES_S[0], end_s - EDGES_S[1])
    before = _level_db(y, sr, start_s - BEFORE_S[0], start_s - BEFORE_S[1])
    after = _level_db(y, sr, end_s + AFTER_S[0], end_s + AFTER_S[1])
    left = [at - own for at in (before, after) if at - own < PLAYED_DB]  # NaN is not
    return max(QUIETEST_DB, *left) if left else UNKNOWN_DB


def _level_db(y: np.ndarray, sr: float, from_s: float, to_s: float) -> float:
    piece = y[max(0, int(from_s * sr)) : max(0, int(to_s * sr))]
    if len(piece) < LEAST_SAMPLES:
        return float("nan")
    return float(10 * np.log10(np.mean(np.square(piece)) + 1e-14))

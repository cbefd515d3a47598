"""What the room and the noise leave in a sounding: how partials sway, and what sounds beside it.

A partial that reaches the microphone by many ways swells and fades, and its phase moves with it;
so does that of a bow that scratches. The share of the fitted amplitudes that is not constant tells
how much of that there was, also where the fit is close. What still sounds shortly after the end
(the room's tail, or noise) sounded during the note too.
"""

import numpy as np

from studio.intonation.estimation.joint_fit import Fit

BEST = 6  # partials whose median speaks for a voice: the steadiest
UNKNOWN_SWAY = 0.1  # where no partial is alone
BEFORE_S, AFTER_S = (0.12, 0.03), (0.12, 0.18)  # from the onset back, from the offset on
EDGES_S = (0.1, 0.05)  # of the sounding, left out of its own level
PLAYED_DB = -5.0  # what is louder beside the sounding is played, not left over
QUIETEST_DB, UNKNOWN_DB = -30.0, -25.0
LEAST_SAMPLES = 65


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
        shares[v] = np.median(np.sort(share[voice == v])[:BEST])
    return shares


def rest_db(y: np.ndarray, sr: int, start_s: float, end_s: float) -> float:
    """Level of what sounds just before and after a sounding, re the sounding itself, in dB.

    The louder of the two, as far as it is not played; ``UNKNOWN_DB`` where both are.
    """
    own = _level_db(y, sr, start_s + EDGES_S[0], end_s - EDGES_S[1])
    before = _level_db(y, sr, start_s - BEFORE_S[0], start_s - BEFORE_S[1])
    after = _level_db(y, sr, end_s + AFTER_S[0], end_s + AFTER_S[1])
    left = [at - own for at in (before, after) if at - own < PLAYED_DB]  # NaN is not
    return max(QUIETEST_DB, *left) if left else UNKNOWN_DB


def _level_db(y: np.ndarray, sr: int, from_s: float, to_s: float) -> float:
    piece = y[max(0, int(from_s * sr)) : max(0, int(to_s * sr))]
    if len(piece) < LEAST_SAMPLES:
        return float("nan")
    return float(10 * np.log10(np.mean(np.square(piece)) + 1e-14))

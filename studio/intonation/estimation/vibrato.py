"""Vibrato, drift and steadiness of a pitch curve.

Conventions: rate in Hz, extent as plus or minus cents, drift in cents per second (rising is
positive), steadiness as the standard deviation in cents about the drift, vibrato taken out.

Method
------
Line and one sinusoid are fitted by least squares on a grid of rates (a least-squares
periodogram; Lomb 1976, *Astrophys. Space Sci.* 39, 447-462). It is vibrato when the sinusoid is
wide enough to be heard and carries most of what the line leaves.
"""

from dataclasses import dataclass

import numpy as np

from studio.intonation.model.sounding import Vibrato

RATES_HZ = np.arange(3.5, 8.51, 0.125)
LEAST_EXTENT_CENTS = 4.0
LEAST_SHARE = 0.5
LEAST_CYCLES = 2.0


@dataclass(frozen=True, slots=True)
class Movement:
    """What a pitch curve does beside its mean."""

    vibrato: Vibrato | None
    drift_cents_per_s: float
    steadiness_cents: float


def movement(time_s: np.ndarray, cents: np.ndarray) -> Movement:
    """Describe a curve ``cents`` (m,) at ``time_s`` (m,), m at least 4."""
    t = time_s - time_s.mean()
    line = np.stack([np.ones_like(t), t / max(float(np.ptp(t)), 1e-9)])
    plain, rest = _fit(line, cents)
    turn = 2 * np.pi * RATES_HZ[RATES_HZ * np.ptp(t) >= LEAST_CYCLES, None] * t
    if len(turn):
        waves = np.stack([np.cos(turn), np.sin(turn)], axis=1)  # (R, 2, m)
        basis = np.concatenate([np.broadcast_to(line, waves.shape), waves], axis=1)
        gram = basis @ basis.transpose(0, 2, 1) + 1e-9 * np.eye(4)
        weights = np.linalg.solve(gram, basis @ cents[:, None])[:, :, 0]
        left = np.mean((cents - np.einsum("rk,rkm->rm", weights, basis)) ** 2, axis=1)
        best = int(left.argmin())
        extent = float(np.hypot(*weights[best, 2:]))
        if extent >= LEAST_EXTENT_CENTS and left[best] < (1 - LEAST_SHARE) * rest:
            rate = float(turn[best, -1] / (2 * np.pi * t[-1]))
            slope = float(weights[best, 1] / np.ptp(t))
            return Movement(Vibrato(rate, extent), slope, float(np.sqrt(left[best])))
    return Movement(None, float(plain[1] / max(float(np.ptp(t)), 1e-9)), float(np.sqrt(rest)))


def _fit(basis: np.ndarray, cents: np.ndarray) -> tuple[np.ndarray, float]:
    """Least-squares weights and the mean square left over."""
    weights = np.linalg.solve(basis @ basis.T + 1e-9 * np.eye(len(basis)), basis @ cents)
    return weights, float(np.mean((cents - weights @ basis) ** 2))

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

from studio.intonation.sounding import Vibrato

RATES_HZ = np.arange(3.5, 8.51, 0.1)
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
    line = np.stack([np.ones_like(t), t])
    plain, rest = _fit(line, cents)
    best: tuple[float, float, float, np.ndarray] | None = None
    for rate in RATES_HZ[RATES_HZ * np.ptp(t) >= LEAST_CYCLES]:
        turn = 2 * np.pi * rate * t
        weights, left = _fit(np.concatenate([line, [np.cos(turn), np.sin(turn)]]), cents)
        if best is None or left < best[1]:
            best = (float(rate), left, float(np.hypot(weights[2], weights[3])), weights)
    if best and best[2] >= LEAST_EXTENT_CENTS and best[1] < (1 - LEAST_SHARE) * rest:
        rate, left, extent, weights = best
        return Movement(Vibrato(rate, extent), float(weights[1]), float(np.sqrt(left)))
    return Movement(None, float(plain[1]), float(np.sqrt(rest)))


def _fit(basis: np.ndarray, cents: np.ndarray) -> tuple[np.ndarray, float]:
    """Least-squares weights and the mean square left over."""
    weights = np.linalg.solve(basis @ basis.T + 1e-9 * np.eye(len(basis)), basis @ cents)
    return weights, float(np.mean((cents - weights @ basis) ** 2))

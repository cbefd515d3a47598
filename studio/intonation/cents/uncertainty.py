"""How far off a measured pitch or interval may be.

Conventions: one standard deviation, in cents. ``None`` where it cannot be measured.

Method
------
The curvature of the fit (or the Cramér-Rao bound, ``bound.py``) counts only noise, and noise is
not what limits: rooms, bows and wrong minima do. Two things predict the real error:

* how much the partials *disagree*: the sandwich covariance H^-1 (sum_c g_c g_c^T) H^-1, with
  g_c each cluster's own gradient at the common minimum and H the Gauss-Newton matrix (Huber
  1967, *Proc. 5th Berkeley Symp.* 1, 221-233; White 1982, *Econometrica* 50, 1-25);
* the voices' *lock* (``lock.py``).

The stated value is calibrated on mixes whose truth is known: see :func:`stated`.
"""

from dataclasses import dataclass

import numpy as np

from studio.intonation.cents.refine import Fit, scores_and_information
from studio.intonation.cents.settle import Weighting
from studio.intonation.cents.window import WindowFit

SLOW_HZ = 3.0  # movement slower than this is wander, faster is vibrato


@dataclass(frozen=True, slots=True)
class Spread:
    """Covariances of the pitch curves' terms, shape (V * P, V * P): by curvature alone, and by
    the disagreement of the clusters."""

    curvature: np.ndarray
    sandwich: np.ndarray


def spread(fit: Fit) -> Spread:
    """Both covariances at a fit's minimum."""
    score, information = scores_and_information(fit)
    g = score.reshape(len(score), -1)
    inverse = np.linalg.inv(information + np.diag(fit.problem.stiffness.ravel()))
    bread = inverse @ g.T
    few = len(g) / max(len(g) - 1, 1)
    return Spread(inverse, few * (bread @ bread.T))


def deviation(covariance: np.ndarray, combination: np.ndarray) -> float:
    """Standard deviation of a linear combination of all terms."""
    return float(np.sqrt(max(combination @ covariance @ combination, 0.0)))


class Judge:
    """Says how sure one window's pitches are."""

    def __init__(self, fitted: WindowFit, weighting: Weighting) -> None:
        self.fitted = fitted
        self.spread = spread(fitted.fit)
        terms = fitted.fit.basis.pitch @ weighting(fitted.time_s)
        self.terms = terms

    def _combination(self, signs: dict[int, float]) -> np.ndarray:
        weights = np.zeros((len(self.fitted.fit.f0_hz), len(self.terms)))
        for voice, sign in signs.items():
            weights[voice] = sign * self.terms
        return weights.ravel()

    def features(self, signs: dict[int, float]) -> tuple[float, float, float, float]:
        """(sandwich, curvature, lock, wander) of a combination of voices."""
        combination = self._combination(signs)
        return (
            deviation(self.spread.sandwich, combination),
            deviation(self.spread.curvature, combination),
            float(min(self.fitted.locks[v] for v in signs)),
            self._wander(signs),
        )

    def _wander(self, signs: dict[int, float]) -> float:
        """Standard deviation in cents of the slow movement of a combination of voices."""
        fit = self.fitted.fit
        terms = sum(sign * fit.theta[voice] for voice, sign in signs.items())
        rate = np.arange(len(terms)) / (2 * fit.basis.length_s)
        return float(np.sqrt(np.sum(terms[(rate > 0) & (rate < SLOW_HZ)] ** 2) / 2))

    def voice(self, voice: int) -> float | None:
        """Standard deviation of one voice's pitch in cents."""
        return self._stated({int(voice): 1.0})[0]

    def interval(self, low: int, high: int) -> tuple[float | None, str | None]:
        """Standard deviation of an interval in cents and, when unsure, why."""
        return self._stated({int(low): -1.0, int(high): 1.0})

    def _stated(self, signs: dict[int, float]) -> tuple[float | None, str | None]:
        sandwich, _, lock, _ = self.features(signs)
        if lock < 0.2:
            return None, "not_separable"
        return sandwich + 0.1, None

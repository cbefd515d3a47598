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

LEAST_LOCK = 0.2  # below it a voice explains too little to be measured
# Under vibrato a room's tail of the lower voice passes for an octave's upper voice: of 60 such
# octaves 20 were more than 2 c off, and all but 3 of those locked less than this.
LEAST_MOVING_HIDDEN_LOCK = 0.5
MOST_CENTS = 5.0  # what may be this far off is not measured
RESOLVING_PARTIAL = 4  # a unison is told apart by its lower partials, which are seldom weak
LEAST_TURNS = 1.0
MARGIN_CAP = 60.0  # nats; more says no more
# Weights of the logarithms in `stated`, fitted on 900 mixes; see there.
SCALE = 1.34
OFFSET, DISAGREEMENT, UNLOCKED, WANDER = 1.777, 0.659, 0.670, 0.534
HIDDEN, HIDDEN_MARGIN, MOVING, MOVING_UNLOCKED = 3.663, -0.789, -0.065, 0.040
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
    g = score.reshape(len(score), fit.theta.size)
    inverse = np.linalg.inv(information + np.diag(fit.problem.stiffness.ravel()))
    bread = inverse @ g.T
    few = len(g) / max(len(g) - 1, 1)
    return Spread(inverse, few * (bread @ bread.T))


def deviation(covariance: np.ndarray, combination: np.ndarray) -> float:
    """Standard deviation of a linear combination of all terms."""
    return float(np.sqrt(max(combination @ covariance @ combination, 0.0)))


def stated(
    sandwich: float, lock: float, wander: float, margin: float | None, moving: bool
) -> float:
    """One standard deviation in cents, as stated.

    A log-linear model of the error's size: powers of the disagreement ``sandwich`` (cents), of
    what is not locked (1 - ``lock``) and of the slow movement ``wander`` (cents), with factors
    for hidden voices (``margin``, the log-likelihood by which their start won; None for visible
    ones) and for vibrato (``moving``). Fitted with a Student likelihood (3 degrees of freedom,
    errors are heavy-tailed) on 900 mixes, synthetic and of recorded notes, steady and with
    vibrato, in rooms of 0 to 0.9 s at 12 to 40 dB, and scaled so that the value covers a little
    more than 68 % of errors and twice the value at least 90 %.
    """
    unlocked = np.log(1.03 - lock)
    size = OFFSET + DISAGREEMENT * np.log(sandwich + 0.02) + UNLOCKED * unlocked
    size += WANDER * np.log(wander + 0.1)
    if margin is not None:
        size += HIDDEN + HIDDEN_MARGIN * np.log(min(margin, MARGIN_CAP) + 2)
    if moving:
        size += MOVING + MOVING_UNLOCKED * unlocked
    return float(SCALE * np.exp(size))


class Judge:
    """Says how sure one window's pitches are."""

    def __init__(self, fitted: WindowFit, weighting: Weighting) -> None:
        self.fitted = fitted
        self.spread = spread(fitted.fit)
        self.weights = weighting(fitted.time_s)
        self.terms = fitted.fit.basis.pitch @ self.weights

    def _combination(self, signs: dict[int, float]) -> np.ndarray:
        weights = np.zeros((len(self.fitted.fit.f0_hz), len(self.terms)))
        for voice, sign in signs.items():
            weights[voice] = sign * self.terms
        return weights.ravel()

    def features(self, signs: dict[int, float]) -> tuple[float, float, float, float, float]:
        """(sandwich, curvature, lock, wander, astray) of a combination of voices."""
        combination = self._combination(signs)
        return (
            deviation(self.spread.sandwich, combination),
            deviation(self.spread.curvature, combination),
            float(min(self.fitted.locks[v] for v in signs)),
            self._wander(signs),
            self._astray(signs),
        )

    def _astray(self, signs: dict[int, float]) -> float:
        """How far the fit's mean is from the coarse tracks', in cents; hidden voices apart."""
        away = (self.fitted.fit.cents() - self.fitted.coarse) @ self.weights
        return float(abs(np.nansum([sign * away[voice] for voice, sign in signs.items()])))

    def _wander(self, signs: dict[int, float]) -> float:
        """Standard deviation in cents of the slow movement of a combination of voices."""
        fit = self.fitted.fit
        terms = sum(sign * fit.theta[voice] for voice, sign in signs.items())
        rate = np.arange(len(terms)) / (2 * fit.basis.length_s)
        return float(np.sqrt(np.sum(terms[(rate > 0) & (rate < SLOW_HZ)] ** 2) / 2))

    def voice(self, voice: int) -> float | None:
        """Standard deviation of one voice's pitch in cents."""
        return self._stated({int(voice): 1.0})

    def interval(self, low: int, high: int) -> tuple[float | None, str | None]:
        """Standard deviation of an interval in cents and, when unsure, why."""
        if self._too_close(low, high):
            return None, "too_close"
        value = self._stated({int(low): -1.0, int(high): 1.0})
        return value, None if value is not None else "not_separable"

    def _stated(self, signs: dict[int, float]) -> float | None:
        sandwich, _, lock, wander, _ = self.features(signs)
        is_hidden = any(v in self.fitted.hidden for v in signs)
        value = stated(
            sandwich, lock, wander, self.fitted.margin if is_hidden else None, self.fitted.vibrato
        )
        if self.fitted.vibrato and is_hidden and self._hidden_lock() < LEAST_MOVING_HIDDEN_LOCK:
            return None
        return value if lock > LEAST_LOCK and value < MOST_CENTS else None

    def _hidden_lock(self) -> float:
        return float(min(self.fitted.locks[v] for v in self.fitted.hidden))

    def _too_close(self, low: int, high: int) -> bool:
        """Whether a unison's voices drift apart by less than half a turn in the window."""
        fit = self.fitted.fit
        f_low, f_high = (
            fit.f0_hz[v] * 2 ** (fit.theta[v, 0] / 1200) for v in (int(low), int(high))
        )
        if f_high / f_low > 2 ** (100 / 1200):
            return False
        clear = (fit.bands.partial > 0).sum(axis=1) > 1
        top = fit.bands.partial[clear].max(initial=1)
        turns = abs(f_high - f_low) * fit.basis.length_s * min(int(top), RESOLVING_PARTIAL)
        return bool(turns < LEAST_TURNS)

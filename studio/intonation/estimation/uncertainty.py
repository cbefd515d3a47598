"""How far off a measured pitch or interval may be.

Conventions: one standard deviation, in cents. ``None`` where it cannot be measured.

Method
------
The curvature of the fit (or the Cramér-Rao bound) counts only noise, and noise is not what limits:
rooms, bows and wrong minima do. What predicts the real error:

* how much the partials *disagree*: the sandwich covariance H^-1 (sum_c g_c g_c^T) H^-1, with
  g_c each cluster's own gradient at the common minimum and H the Gauss-Newton matrix (Huber
  1967, *Proc. 5th Berkeley Symp.* 1, 221-233; White 1982, *Econometrica* 50, 1-25);
* the voices' *lock* (``goodness_of_fit.py``) and their slow *wander*;
* how *lopsided* their partials are (the same module): how well the pitch is defined;
* how much their partials *sway*, and how loud the *rest* is that sounds beside the note: the room,
  the noise and the bow (``goodness_of_fit.py``);
* how long the window is, how high the upper voice (few partials are left to agree), and for a
  hidden voice by how much its start won.

The stated value is calibrated on mixes whose truth is known: see :func:`stated`.
"""

from dataclasses import astuple, dataclass

import numpy as np

from studio.intonation.estimation.goodness_of_fit import (
    UNKNOWN_DB,
    UNKNOWN_SWAY,
    lopsided_cents,
    sway_shares,
)
from studio.intonation.estimation.joint_fit import Fit, scores_and_information
from studio.intonation.estimation.pitch_contour import Weighting
from studio.intonation.estimation.windows import WindowFit
from studio.theory import as_ratio, in_cents

# Chosen on the double stops that the weights below are calibrated on, where no line says more.
LEAST_LOCK = 0.15  # below it a voice explains too little to be measured
LEAST_MOVING_LOCK = 0.25  # the same under vibrato, where wrong minima lock halfway
# Carrier and centre of power this far apart under vibrato: the curve follows something else. Three
# of four such were 4 to 17 c off.
MOST_MOVING_LOPSIDED_CENTS = 8.0
# Under vibrato a room's tail of the lower voice passes for an octave's upper voice. Of such octaves
# with a clear margin 1 in 20 was more than 2 c off when they locked more than 0.4, up to 6 c when
# they locked less than 0.45; with less margin half were, up to a lock of 0.6. Asking for more here
# left well measured octaves of recorded notes open, and marks missed with them.
CLEAR_MARGIN = 60.0  # nats
LEAST_MOVING_HIDDEN_LOCK, LEAST_UNCLEAR_LOCK = 0.4, 0.6  # with a clear margin; without
TWO_CYCLES_S = 0.4  # of the slowest vibrato, about 5 Hz
STILL_CENTS = 4.5  # movement below this is hardly vibrato: one of 7 c moves by 5 c
# What may be this far off is not measured: the tail of wrong minima lies there. Below, a large
# deviation can still be told from a tolerance, since a mark needs twice the uncertainty.
MOST_CENTS, MOST_MOVING_CENTS = 6.0, 5.0
LEAST_CENTS = 0.1  # below it the room and the string, not the fit, say what the pitch is
RESOLVING_PARTIAL = 4  # a unison is told apart by its lower partials, which are seldom weak
LEAST_TURNS = 1.0  # between a unison's voices over the window: with less, beats are a swell
MARGIN_CAP = 60.0  # nats; more says no more
# Where the notes step, which asks another question of the whole event, found a hidden voice
# within this of the fit, the two bear each other out: worth so many nats of margin.
AGREED_CENTS, AGREED_NATS = 4.0, 20.0
HIGH_HZ = 700.0  # above it few partials are left to agree
VOICE_FACTOR = 1.15  # a voice's own pitch errs this much more than the model of intervals says
SLOW_HZ = 3.0  # movement slower than this is wander, faster is vibrato
# Added before logarithms, so that what is very small says no more: chosen before the calibration.
LEAST_UNLOCKED = 0.03  # of the lock that is missing
LEAST_SANDWICH, LEAST_WANDER = 0.02, 0.1  # cents
LEAST_LOPSIDED, VERY_LOPSIDED = 0.03, 0.4  # cents: any at all; much
LEAST_SWAY = 0.01  # share of power
MARGIN_OFFSET = 2  # nats
REST_PER_DB = 10  # dB for one unit of the term


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


@dataclass(frozen=True, slots=True)
class Evidence:
    """What predicts the error of a combination of voices (one voice, or an interval).

    ``sandwich``, ``curvature``: standard deviations of its mean in cents, see :class:`Spread`;
    ``lock``: the smallest; ``wander``: standard deviation of its slow movement in cents;
    ``lopsided``: centres of power less carriers, root sum of squares in cents; ``length_s`` of
    the window; ``high_hz``: the highest pitch; ``margin``: log-likelihood by which a hidden
    voice's start won, None when all voices are visible; ``moving``: vibrato; ``sway``: the
    largest share (0..) of a voice's partials that is not constant; ``rest_db``: what sounds beside
    the sounding, re the sounding, see ``goodness_of_fit``; ``reached``: the share of the held part
    that the window covers.
    """

    sandwich: float
    curvature: float
    lock: float
    wander: float
    lopsided: float
    length_s: float
    high_hz: float
    margin: float | None
    moving: bool
    sway: float
    rest_db: float
    reached: float = 1.0


@dataclass(frozen=True, slots=True)
class Weights:
    """Weights of :func:`terms`, in their order; the model is log-linear, see :func:`stated`."""

    offset: float
    disagreement: float
    unlocked: float
    wander: float
    lopsided: float
    very_lopsided: float
    length: float
    high: float
    hidden: float
    hidden_margin: float
    hidden_unlocked: float
    sway: float
    rest: float
    unreached: float


# Calibrated by tests/intonation/estimation/calibrate.py; see :func:`stated`.
STEADY = Weights(
    *(0.608, 0.189, 0.427, 0.53, -0.023, 0.471, -0.448, -0.093, 2.752, -0.472, 0.082, 0.002),
    *(0.062, -0.234),
)
# Steady and hidden (an octave's upper voice): the weights of an earlier fit to about 1600 mixes,
# widened by ln 1.4. Among whole clips such voices were too few: a fit to them made of a small
# margin an uncertainty of many cents, while the errors were one or two. Without the widening 52 %
# of recorded octaves lay within one deviation and 84 % within two.
STEADY_HIDDEN = Weights(
    1.663, 0.479, 0.536, 0.802, 0.139, 0.089, -0.564, -0.069, 0.892, -0.011, 0.242, 0.0, 0.0, 0.0
)
# Widened by ln 1.2: on other seeds it covered too little where the vibrato was wide.
VIBRATO = Weights(
    *(0.496, 0.558, 0.16, 0.588, -0.233, 0.181, -2.441, -0.78, -1.487, -0.073, -0.686, 0.249),
    *(-0.529, -0.279),
)


def terms(seen: Evidence) -> np.ndarray:
    """What the log of the error's size is linear in, shape (14,), in the order of ``Weights``."""
    unlocked = np.log(1 + LEAST_UNLOCKED - seen.lock)
    hidden = seen.margin is not None
    margin = (
        np.log(min(seen.margin, MARGIN_CAP) + MARGIN_OFFSET) if seen.margin is not None else 0.0
    )
    return np.array(
        [
            1.0,
            np.log(seen.sandwich + LEAST_SANDWICH),
            unlocked,
            np.log(seen.wander + LEAST_WANDER),
            np.log(seen.lopsided + LEAST_LOPSIDED),
            np.log(seen.lopsided + VERY_LOPSIDED),
            np.log(seen.length_s),
            max(0.0, np.log(seen.high_hz / HIGH_HZ)),
            float(hidden),
            margin,
            hidden * unlocked,
            np.log(seen.sway + LEAST_SWAY),
            seen.rest_db / REST_PER_DB,
            1.0 - seen.reached,
        ]
    )


def stated(seen: Evidence) -> float:
    """One standard deviation in cents, as stated: exp(weights . terms).

    The weights are those that ``tests/intonation/estimation/calibrate.py`` finds, one set for
    steady soundings and one for those under vibrato, from about 700 double stops in whole clips:
    added up and recorded, steady, wandering by up to 4 c, with vibrato of 5 to 30 c and with their
    players' own, in rooms of 0.3 to 1 s at 10 to 30 dB, through codecs, and in scales. Errors have
    heavier tails than a normal law, so no factor covers exactly 68 % within one and 95 % within
    two; 70 and 95 % are aimed at.

    The truth of a recorded note is its catalogue's median. Where the note itself moves (some of
    the high ones by cents) or its carrier and its centre of power part, that is no error of
    the catalogue alone: it is left in, and the lopsidedness and the height learn it.
    """
    return max(LEAST_CENTS, float(np.exp(terms(seen) @ np.array(astuple(_weights(seen))))))


def _weights(seen: Evidence) -> Weights:
    if seen.moving:
        return VIBRATO
    return STEADY if seen.margin is None else STEADY_HIDDEN


def _least_lock(seen: Evidence) -> float:
    """The lock below which a combination of voices is not measured."""
    if not seen.moving:
        return LEAST_LOCK
    if seen.margin is None:
        return LEAST_MOVING_LOCK
    return LEAST_MOVING_HIDDEN_LOCK if seen.margin >= CLEAR_MARGIN else LEAST_UNCLEAR_LOCK


def is_measurable(seen: Evidence) -> bool:
    """Whether the fit holds on to the voices at all."""
    wild = seen.moving and seen.lopsided > MOST_MOVING_LOPSIDED_CENTS
    return seen.lock > _least_lock(seen) and not wild


def limit_cents(seen: Evidence) -> float:
    """The stated standard deviation from which on it is not measured."""
    return MOST_MOVING_CENTS if seen.moving else MOST_CENTS


def shakes(fitted: WindowFit) -> bool:
    """Whether a voice has vibrato.

    Beats can make a coarse track look like it; the fit then shows voices that stand still. In a
    window shorter than two cycles of it, any bend would pass for one.
    """
    fit = fitted.fit
    if fit.basis.length_s < TWO_CYCLES_S:
        return False
    rate = np.arange(fit.theta.shape[1]) / (2 * fit.basis.length_s)
    quick = np.sqrt(np.sum(fit.theta[:, rate >= SLOW_HZ] ** 2, axis=1) / 2)
    return fitted.vibrato and float(quick.max()) > STILL_CENTS


class Judge:
    """Says how sure one window's pitches are."""

    def __init__(
        self,
        fitted: WindowFit,
        weighting: Weighting,
        expected_hz: np.ndarray | None = None,
        rest_db: float = UNKNOWN_DB,
        reached: float = 1.0,
    ) -> None:
        """Judge a fit by what is known of its sounding.

        ``weighting``: of what is reported, as far as the window reaches, which is the share
        ``reached`` of it; ``expected_hz`` (V,): the pitches that finding the notes came to, voice
        by voice; ``rest_db``: see :func:`goodness_of_fit.rest_db`.
        """
        self.fitted = fitted
        self.weighting, self.reached = weighting, reached
        self.expected_hz = expected_hz
        self.rest_db = rest_db
        self.spread = spread(fitted.fit)
        self.weights = weighting(fitted.time_s)
        self.terms = fitted.fit.basis.pitch @ self.weights
        self.lopsided = lopsided_cents(fitted.fit, self.weights)
        self.sway = sway_shares(fitted.fit)

    def _combination(self, signs: dict[int, float]) -> np.ndarray:
        weights = np.zeros((len(self.fitted.fit.f0_hz), len(self.terms)))
        for voice, sign in signs.items():
            weights[voice] = sign * self.terms
        return weights.ravel()

    def evidence(self, signs: dict[int, float]) -> Evidence:
        """Evidence on the sum of voices' pitches, each times its sign."""
        combination = self._combination(signs)
        is_hidden = any(voice in self.fitted.hidden for voice in signs)
        sways = [float(self.sway[v]) for v in signs if np.isfinite(self.sway[v])]
        return Evidence(
            sandwich=deviation(self.spread.sandwich, combination),
            curvature=deviation(self.spread.curvature, combination),
            lock=float(min(self.fitted.locks[voice] for voice in signs)),
            wander=self._wander(signs),
            lopsided=float(np.hypot.reduce([self.lopsided[voice] for voice in signs])),
            length_s=self.fitted.fit.basis.length_s,
            high_hz=float(max(self.fitted.fit.f0_hz[voice] for voice in signs)),
            margin=self._margin(signs) if is_hidden else None,
            moving=shakes(self.fitted),
            sway=max(sways, default=UNKNOWN_SWAY),
            rest_db=self.rest_db,
            reached=self.reached,
        )

    def _margin(self, signs: dict[int, float]) -> float:
        """The margin of the hidden voices' start, raised where two methods agree on them."""
        if self.expected_hz is None or len(signs) < 2:
            return self.fitted.margin
        f0 = self.fitted.fit.f0_hz
        pitch = self.fitted.fit.cents() @ self.weights + in_cents(f0 / self.expected_hz)
        away = abs(sum(sign * pitch[voice] for voice, sign in signs.items()))
        return self.fitted.margin + AGREED_NATS * (away < AGREED_CENTS)

    def _wander(self, signs: dict[int, float]) -> float:
        """Standard deviation in cents of the slow movement of a combination of voices."""
        fit = self.fitted.fit
        terms = sum(sign * fit.theta[voice] for voice, sign in signs.items())
        rate = np.arange(len(terms)) / (2 * fit.basis.length_s)
        return float(np.sqrt(np.sum(terms[(rate > 0) & (rate < SLOW_HZ)] ** 2) / 2))

    def moved_cents(self, low: int, high: int) -> float:
        """How far an interval moves about its mean, slowly: one standard deviation in cents."""
        return self._wander({int(low): -1.0, int(high): 1.0})

    def voice(self, voice: int) -> float | None:
        """Standard deviation of one voice's pitch in cents."""
        value = self._stated({int(voice): 1.0})
        return None if value is None else VOICE_FACTOR * value

    def interval(self, low: int, high: int) -> tuple[float | None, str | None]:
        """Standard deviation of an interval in cents and, when unsure, why."""
        if self._too_close(low, high):
            return None, "too_close"
        value = self._stated({int(low): -1.0, int(high): 1.0})
        return value, None if value is not None else "not_separable"

    def _stated(self, signs: dict[int, float]) -> float | None:
        seen = self.evidence(signs)
        value = stated(seen)
        return value if is_measurable(seen) and value < limit_cents(seen) else None

    def _too_close(self, low: int, high: int) -> bool:
        """Whether a unison's voices drift apart by less than a turn at the partials that tell."""
        fit = self.fitted.fit
        f_low, f_high = (fit.f0_hz[v] * as_ratio(fit.theta[v, 0]) for v in (int(low), int(high)))
        if f_high / f_low > as_ratio(100):
            return False
        clear = (fit.bands.partial > 0).sum(axis=1) > 1
        top = fit.bands.partial[clear].max(initial=1)
        turns = abs(f_high - f_low) * fit.basis.length_s * min(int(top), RESOLVING_PARTIAL)
        return bool(turns < LEAST_TURNS)

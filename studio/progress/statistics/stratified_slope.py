"""One slope over weeks, common to many strata that each have a level of their own.

The model is the analysis of covariance, stated so that it can be doubted::

    y = level of the stratum + slope · weeks + week + note

A stratum is what is like: the same double stop of the same drill in the same tuning. Its level
takes out how hard it is, so that moving on to an easier drill is no progress, and what was played
in one week alone says nothing. What the model takes for granted is that how hard a drill is adds
to the figure and stays as it is.

*Estimate.* Least squares within strata, Σ S_xy / Σ S_xx, with Huber's weights (:mod:`.robust`).

*Uncertainty.* Each week in turn is left out (the cluster jackknife, CV3 of MacKinnon, Nielsen &
Webb 2023, "Fast and reliable jackknife and bootstrap methods for cluster-robust inference",
Journal of Applied Econometrics 38(5), 671-694), which errs towards caution where weeks are few:
var = (G - 1) / G · Σ (slope without week g - slope)². With S_xx and S_xy as sums over strata this
is exact and needs no second fit. The law is Student's t; its degrees of freedom are the effective
number of weeks less one, 1 / Σ h² - 1 with h the share of S_xx that a week has, and G - 2 at most
(after Carter, Schnepel & Steigerwald 2017, "Asymptotic behavior of a t-test robust to cluster
heterogeneity", Review of Economics and Statistics 99(4), 698-709). Good and bad
times that last for weeks would look like a slope; where neighbouring weeks are alike, the variance
is larger by (1 + r) / (1 - r) (Bartlett 1946, "On the theoretical specification and sampling
properties of autocorrelated time-series", Supplement to the Journal of the Royal Statistical
Society 8(1), 27-41), r the correlation of neighbouring weeks, corrected for the line that was
taken out (Kendall 1954, "Note on bias in the estimation of autocorrelation", Biometrika 41,
403-404).
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr, stdtrit

from .robust import scale_about_nothing, weights

FEWEST_WEEKS = 6  # with notes that tell: chosen; below it Student's law is wider than any change
FEWEST_NOTES = 20  # chosen
FEWEST_COVERED = 4  # weeks between first and last: chosen; less is a good day, not a change
FITS = 3  # of the weights: chosen; more moves nothing that is shown
NEIGHBOURS = 2  # weeks apart: further apart they are no neighbours; chosen
MOST_ALIKE = 0.8  # chosen: beyond it the weeks are hardly more than one
ONE_WEEK = 0.05  # of S_xx left without a week, below which all hangs on that week: chosen
TWO_SIDED = 0.975
Z_975 = 1.959963984540054  # the normal distribution's 97.5 % point


@dataclass(frozen=True, slots=True)
class Slope:
    """The slope in units a week and its standard error.

    ``adjusted`` are the values with the differences of strata taken out, ``kept`` which of those
    given they belong to, ``shares`` how much each counts (0 to 1). ``covered`` is how many weeks
    lie within some stratum, ``first`` and ``last`` the earliest and latest of them.
    """

    per_week: float
    standard_error: float
    degrees: float
    level: float
    middle: float
    first: int
    last: int
    covered: int
    kept: np.ndarray
    adjusted: np.ndarray
    shares: np.ndarray

    @property
    def change(self) -> float:
        """Over the weeks covered, signed."""
        return self.per_week * self.covered

    @property
    def change_uncertainty(self) -> float:
        """So that twice it is the half-width at 95 %, as a normal law's deviation would be."""
        wide = float(stdtrit(self.degrees, TWO_SIDED)) / Z_975
        return self.standard_error * self.covered * wide

    @property
    def p_value(self) -> float:
        """Of no slope, two-sided."""
        if self.standard_error <= 0.0:
            return 0.0 if self.per_week else 1.0
        return 2.0 * float(stdtr(self.degrees, -abs(self.per_week) / self.standard_error))

    def at(self, week: float) -> float:
        """The line's height."""
        return self.level + self.per_week * (week - self.middle)


@dataclass(frozen=True, slots=True)
class _Notes:
    """What is fitted, in the order of strata and, within them, of weeks.

    ``at`` are its places among what was given, ``x`` the weeks since the first, ``stratum`` and
    ``cell`` (stratum and week) count from 0; ``cell_week`` is each cell's place among ``known``.
    """

    at: np.ndarray
    y: np.ndarray
    x: np.ndarray
    stratum: np.ndarray
    strata: int
    cell: np.ndarray
    cell_stratum: np.ndarray
    cell_week: np.ndarray
    known: np.ndarray
    covered: int


def fit(y: np.ndarray, week: np.ndarray, stratum: np.ndarray) -> Slope | None:
    """The common slope; ``None`` where there is too little to tell.

    Parameters
    ----------
    y : np.ndarray, shape (n,), finite
    week : np.ndarray of int, shape (n,): the number of the week, any start
    stratum : np.ndarray of int, shape (n,): what is like has the same number
    """
    notes = _notes(y, week, stratum)
    if notes is None or len(notes.known) < FEWEST_WEEKS or notes.covered < FEWEST_COVERED:
        return None
    slope, shares, residuals = _least_squares(notes)
    uncertain = _uncertainty(notes, shares, slope)
    if uncertain is None:
        return None
    error, degrees = uncertain
    alike = _alike(notes, residuals * shares)
    level, middle = np.average(notes.y, weights=shares), np.average(notes.x, weights=shares)
    return Slope(
        per_week=slope,
        standard_error=error * float(np.sqrt((1.0 + alike) / (1.0 - alike))),
        degrees=degrees,
        level=float(level),
        middle=float(notes.known[0] + middle),
        first=int(notes.known[0]),
        last=int(notes.known[-1]),
        covered=notes.covered,
        kept=notes.at,
        adjusted=residuals + level + slope * (notes.x - middle),
        shares=shares,
    )


def _notes(y: np.ndarray, week: np.ndarray, stratum: np.ndarray) -> _Notes | None:
    """Those whose stratum was played in two weeks at least; ``None`` where they are too few."""
    if len(y) < FEWEST_NOTES:
        return None
    at = np.arange(len(y))
    if not _is_ordered(stratum, week):
        at = np.lexsort((week, stratum))
    stratum, week = stratum[at], week[at]
    begins = _changes(stratum)
    first, last = week[begins], week[np.append(begins[1:], len(week)) - 1]
    several = (last > first)[np.cumsum(_is_begin(begins, len(week))) - 1]
    at, week, stratum = at[several], week[several], stratum[several]
    if len(at) < FEWEST_NOTES:
        return None
    cells = np.flatnonzero((np.diff(stratum, prepend=-1) != 0) | (np.diff(week, prepend=-1) != 0))
    which = np.cumsum(_is_begin(_changes(stratum), len(at))) - 1
    known, cell_week = np.unique(week[cells], return_inverse=True)
    return _Notes(
        at=at,
        y=y[at],
        x=(week - known[0]).astype(float),
        stratum=which,
        strata=int(which[-1]) + 1,
        cell=np.cumsum(_is_begin(cells, len(at))) - 1,
        cell_stratum=which[cells],
        cell_week=cell_week,
        known=known,
        covered=_covered(first[last > first], last[last > first]),
    )


def _is_ordered(stratum: np.ndarray, week: np.ndarray) -> bool:
    step = np.diff(stratum)
    return bool(np.all((step > 0) | ((step == 0) & (np.diff(week) >= 0))))


def _changes(values: np.ndarray) -> np.ndarray:
    """The places at which another value begins, the first among them."""
    return np.flatnonzero(np.append(True, np.diff(values) != 0)[: len(values)])


def _is_begin(begins: np.ndarray, count: int) -> np.ndarray:
    found = np.zeros(count, dtype=bool)
    found[begins] = True
    return found


def _covered(first: np.ndarray, last: np.ndarray) -> int:
    """How many of the steps from week to week lie within the time of some stratum."""
    steps = np.bincount(first - first.min(), minlength=last.max() - first.min() + 1)
    steps -= np.bincount(last - first.min(), minlength=len(steps))
    return int(np.sum(np.cumsum(steps) > 0))


def _least_squares(notes: _Notes) -> tuple[float, np.ndarray, np.ndarray]:
    """Slope, weights and residuals, by weighted fits in turn."""
    shares = np.ones(len(notes.y))
    for turn in range(FITS):
        mass = np.bincount(notes.stratum, shares, notes.strata)
        dx, dy = (_within(notes, shares, each, mass) for each in (notes.x, notes.y))
        slope = float(np.sum(shares * dx * dy) / np.sum(shares * dx * dx))
        residuals = dy - slope * dx
        if turn < FITS - 1:
            shares = weights(residuals, scale_about_nothing(residuals))
    return slope, shares, residuals


def _within(notes: _Notes, shares: np.ndarray, values: np.ndarray, mass: np.ndarray) -> np.ndarray:
    """Values less the mean of their stratum, whose shares come to ``mass``."""
    sums = np.bincount(notes.stratum, shares * values, notes.strata)
    return values - (sums / mass)[notes.stratum]


def _uncertainty(notes: _Notes, shares: np.ndarray, slope: float) -> tuple[float, float] | None:
    """Standard error by leaving out each week in turn, and degrees of freedom.

    ``None`` where all hangs on a single week.
    """
    x, y, weeks = notes.x, notes.y, len(notes.known)
    moments = (np.ones(len(y)), x, y, x * x, x * y)
    own = [np.bincount(notes.cell, shares * each) for each in moments]
    total = [np.bincount(notes.cell_stratum, each, notes.strata) for each in own]
    left = [all_[notes.cell_stratum] - part for all_, part in zip(total, own, strict=True)]
    whole = _squares(*total)
    without = [
        np.bincount(notes.cell_week, now - before[notes.cell_stratum], weeks) + np.sum(before)
        for now, before in zip(_squares(*left), whole, strict=True)
    ]
    sxx = float(np.sum(whole[0]))
    if np.min(without[0]) <= ONE_WEEK * sxx:
        return None
    moved = without[1] / without[0] - slope
    counts = shares * _within(notes, shares, x, total[0]) ** 2 / sxx
    counts = np.bincount(notes.cell_week, np.bincount(notes.cell, counts), weeks)
    degrees = max(1.0, min(weeks - 2.0, 1.0 / float(np.sum(counts**2)) - 1.0))
    return float(np.sqrt((weeks - 1) / weeks * np.sum(moved**2))), degrees


def _squares(
    mass: np.ndarray, x: np.ndarray, y: np.ndarray, xx: np.ndarray, xy: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """S_xx and S_xy about each stratum's own means."""
    return xx - x * x / mass, xy - x * y / mass


def _alike(notes: _Notes, residuals: np.ndarray) -> float:
    """The correlation of neighbouring weeks, 0 to ``MOST_ALIKE``."""
    count = len(notes.known)
    of_cells = (np.bincount(notes.cell, residuals), np.bincount(notes.cell))
    sums, many = (np.bincount(notes.cell_week, each, count) for each in of_cells)
    means = sums / many
    near = np.diff(notes.known) <= NEIGHBOURS
    power = float(np.mean(means**2))
    if not near.any() or power <= 0.0:
        return 0.0
    plain = float(np.mean((means[1:] * means[:-1])[near])) / power
    return min(max(plain + (2.0 + 4.0 * plain) / count, 0.0), MOST_ALIKE)

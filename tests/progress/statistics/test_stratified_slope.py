"""The slope and its uncertainty against plain least squares, refitted by numpy and scipy."""

import numpy as np
import pytest
from scipy import stats

from studio.progress.statistics import stratified_slope
from studio.progress.statistics.stratified_slope import fit


def practice(seed, weeks=14, strata=5, slope=-0.8, week_sd=1.0):
    """Strata of two to all weeks with levels of their own; weeks with a form of their own."""
    draw = np.random.default_rng(seed)
    y, week, stratum = [], [], []
    form = draw.normal(0.0, week_sd, weeks)
    for number in range(strata):
        first, last = sorted(draw.choice(weeks, 2, replace=False))
        for at in range(first, last + 1):
            many = draw.integers(1, 5)
            level = 10.0 * number + slope * at + form[at]
            y += list(level + draw.normal(0.0, 2.0, many))
            week += [at] * many
            stratum += [number] * many
    return np.array(y), np.array(week) + 100, np.array(stratum)


def design(week, stratum):
    dummies = (stratum[:, None] == np.unique(stratum)).astype(float)
    return np.column_stack([week, dummies])


def refitted(y, week, stratum, shares):
    root = np.sqrt(shares)
    found = np.linalg.lstsq(design(week, stratum) * root[:, None], y * root, rcond=None)
    return found[0][0]


@pytest.mark.parametrize("seed", range(4))
def test_slope_is_that_of_least_squares_with_a_level_for_each_stratum(seed):
    y, week, stratum = practice(seed)
    found = fit(y, week, stratum)
    kept = found.kept
    assert found.per_week == pytest.approx(
        refitted(y[kept], week[kept], stratum[kept], found.shares), abs=1e-9
    )


@pytest.mark.parametrize("seed", range(4))
def test_standard_error_is_that_of_fits_without_each_week(seed, monkeypatch):
    monkeypatch.setattr(stratified_slope, "MOST_ALIKE", 0.0)  # which would come on top of it
    y, week, stratum = practice(seed)
    found = fit(y, week, stratum)
    y, week, stratum = y[found.kept], week[found.kept], stratum[found.kept]
    known = np.unique(week)
    left = []
    for at in known:
        rest = week != at
        left.append(refitted(y[rest], week[rest], stratum[rest], found.shares[rest]))
    by_hand = np.sqrt(
        (len(known) - 1) / len(known) * np.sum((np.array(left) - found.per_week) ** 2)
    )
    assert found.standard_error == pytest.approx(by_hand, rel=1e-6)


def test_one_stratum_without_wild_values_is_the_plain_line():
    draw = np.random.default_rng(8)
    week = np.repeat(np.arange(12), 4)
    y = 30.0 - 1.5 * week + draw.uniform(-1.0, 1.0, len(week))
    plain = stats.linregress(week, y)
    found = fit(y, week, np.zeros(len(week), dtype=int))
    assert found.per_week == pytest.approx(plain.slope, abs=1e-9)
    assert found.at(0) == pytest.approx(plain.intercept, abs=1e-9)
    assert found.change == pytest.approx(11 * plain.slope)


def test_standard_error_is_near_that_of_resampled_weeks(monkeypatch):
    """The cluster bootstrap (Field & Welsh 2007): whole weeks are drawn, with replacement."""
    monkeypatch.setattr(stratified_slope, "MOST_ALIKE", 0.0)
    draw = np.random.default_rng(6)
    week = np.repeat(np.arange(30), 12)
    stratum = np.tile(np.arange(4), 90)
    form = draw.normal(0.0, 2.0, 30)
    y = 20.0 + 3.0 * stratum + form[week] + draw.normal(0.0, 3.0, len(week))
    found = fit(y, week, stratum)
    slopes = []
    for _ in range(300):
        drawn = draw.integers(0, 30, 30)
        places = np.concatenate([np.flatnonzero(week == at) for at in drawn])
        slopes.append(refitted(y[places], week[places], stratum[places], np.ones(len(places))))
    assert found.standard_error == pytest.approx(np.std(slopes), rel=0.2)


def test_notes_of_one_week_are_no_independent_tries():
    """A hundred times the notes of the same weeks make a slope hardly surer."""
    draw = np.random.default_rng(7)
    form = draw.normal(0.0, 3.0, 20)
    errors = []
    for many in (5, 500):
        week = np.repeat(np.arange(20), many)
        y = form[week] + draw.normal(0.0, 2.0, len(week))
        errors.append(fit(y, week, np.zeros(len(week), dtype=int)).standard_error)
    assert errors[1] > 0.6 * errors[0]


def test_weeks_that_are_like_their_neighbours_tell_less(monkeypatch):
    week = np.repeat(np.arange(30), 4)
    y = 5.0 * np.sin(week / 3.0)
    wide = fit(y, week, np.zeros(len(week), dtype=int)).standard_error
    monkeypatch.setattr(stratified_slope, "MOST_ALIKE", 0.0)
    assert wide > 2.5 * fit(y, week, np.zeros(len(week), dtype=int)).standard_error


def test_a_wild_value_hardly_moves_the_slope():
    y, week, stratum = practice(2, weeks=20, strata=6)
    before = fit(y, week, stratum)
    wild = y.copy()
    wild[np.argmax(week)] += 300.0
    assert abs(fit(wild, week, stratum).per_week - before.per_week) < before.standard_error


def test_what_was_played_in_one_week_alone_says_nothing():
    week = np.repeat(np.arange(12), 3)
    assert fit(40.0 - week, week, week) is None


@pytest.mark.parametrize(("weeks", "many"), [(5, 10), (8, 2), (3, 40)])
def test_too_little_is_not_told(weeks, many):
    week = np.repeat(np.arange(weeks), many)
    assert fit(week * 1.0, week, np.zeros(len(week), dtype=int)) is None
    assert fit(np.zeros(0), np.zeros(0, dtype=int), np.zeros(0, dtype=int)) is None


def test_a_slope_that_hangs_on_one_week_is_not_told():
    week = np.array([0] * 10 + [1] * 10 + [2] * 10 + [3] * 10 + [4] * 10 + [400] * 10)
    assert fit(week * 1.0, week, np.zeros(60, dtype=int)) is None


def test_only_weeks_within_some_stratum_are_covered():
    week = np.repeat([0, 1, 2, 3, 20, 21, 22, 23], 4)
    found = fit(-1.0 * week + 9.0 * (week >= 20), week, (week >= 20).astype(int))
    assert found.covered == 6  # not the 23 from the first to the last
    assert found.change == pytest.approx(-6.0)

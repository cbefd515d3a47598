"""Huber's location against hand-worked examples and a plain minimum of Huber's loss."""

import numpy as np
import pytest
from scipy import optimize, special

from studio.progress.statistics.robust import BEND, location, scale_of, weights


def test_a_hand_worked_location():
    """Of 10, 11, 12, 13, 500: the median is 12, the deviations 2 1 0 1 488, the scale 1.4826.

    Huber's equation, with 500 at the bound of 2.5 scales (3.7065) above the middle m:
    (10 + 11 + 12 + 13 - 4 m) + 3.7065 = 0, so m = 49.7065 / 4 = 12.426625.
    """
    values = np.array([10.0, 11.0, 12.0, 13.0, 500.0])
    assert scale_of(values) == pytest.approx(1.4826)
    assert location(values) == pytest.approx(12.426625, abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_it_is_where_hubers_loss_is_least(seed):
    values = np.random.default_rng(seed).standard_t(2, 40) * 8.0 + 15.0
    scale = scale_of(values)
    loss = lambda m: np.sum(special.huber(BEND, (values - m) / scale))  # noqa: E731
    least = optimize.minimize_scalar(loss, bounds=(-50, 80), method="bounded")
    assert location(values) == pytest.approx(least.x, abs=1e-3)


def test_few_values_and_equal_ones():
    assert location(np.array([4.0])) == 4.0
    assert location(np.array([4.0, 8.0])) == 6.0
    assert location(np.array([5.0, 5.0, 5.0, 90.0])) == 5.0
    assert weights(np.array([1.0, 9.0]), 0.0).tolist() == [1.0, 1.0]
    with pytest.raises(ValueError, match="at least one"):
        location(np.array([]))

"""Holm's adjustment and Pettitt's change-point, each against its definition worked out plainly."""

from itertools import combinations

import numpy as np
import pytest

from studio.progress.statistics.change_point import step_in
from studio.progress.statistics.multiple_comparisons import holm


def by_closed_testing(p_values):
    """Each by the worst Bonferroni test of all sets that hold it (Marcus et al. 1976)."""
    count = len(p_values)
    sets = [s for n in range(1, count + 1) for s in combinations(range(count), n)]
    worst = {s: min(1.0, len(s) * min(p_values[i] for i in s)) for s in sets}
    return [max(worst[s] for s in sets if i in s) for i in range(count)]


@pytest.mark.parametrize("seed", range(4))
def test_holm_is_closed_testing_with_bonferroni(seed):
    p_values = np.random.default_rng(seed).random(5) ** 3
    assert holm(p_values) == pytest.approx(by_closed_testing(p_values))


def test_holm_of_nothing():
    assert holm(np.array([])).tolist() == []


def by_signs(values):
    """Pettitt's U_t as he defines it: Σ over i <= t < j of sign(x_i - x_j)."""
    return [
        sum(np.sign(a - b) for a in values[:t] for b in values[t:]) for t in range(1, len(values))
    ]


def test_a_step_is_found_where_pettitts_sum_is_largest():
    draw = np.random.default_rng(3)
    values = draw.normal(0.0, 1.0, 30) + 5.0 * (np.arange(30) >= 17)
    found = step_in(values, 3.0)
    u = by_signs(values)
    most = max(abs(each) for each in u)
    assert found is not None
    assert found.at == 17 == 1 + int(np.argmax(np.abs(u)))
    assert found.p_value == pytest.approx(2.0 * np.exp(-6.0 * most**2 / (30**3 + 30**2)))
    assert found.size == pytest.approx(5.0, abs=1.0)


def test_no_step_in_too_few_values_nor_in_a_small_one():
    draw = np.random.default_rng(4)
    assert step_in(np.array([0.0] * 5 + [9.0] * 5), 3.0) is None
    assert step_in(draw.normal(0.0, 1.0, 60) + 2.0 * (np.arange(60) > 30), 3.0) is None
    found = [step_in(draw.normal(0.0, 4.0, 40), 3.0) for _ in range(100)]
    assert sum(each is not None for each in found) <= 10

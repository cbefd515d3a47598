"""The listening hears the quick sets no worse than it did.

``results/intonation-noise.json`` is written by ``deploy/measure intonation --save``; a change that
is meant to trade one figure for another writes it anew and says why.
"""

import json

import numpy as np
import pytest

from tests.benchmarks.ear import real
from tests.benchmarks.ear.hearing import OURS
from tests.benchmarks.ear.real import Span
from tests.benchmarks.ear.real_scoring import MovementScore, PairScore
from tests.benchmarks.ear.regression import (
    GUARDED,
    NOISE,
    Guarded,
    drawn,
    drawn_movements,
    guarded,
    guarded_real,
    quick_movements,
    quick_share,
    worse,
)
from tests.benchmarks.ear.run import Scores, run
from tests.benchmarks.ear.scoring import ClipScore
from tests.benchmarks.ear.sets import all_sets

KEPT = json.loads(NOISE.read_text())


def test_no_figure_of_the_quick_sets_is_worse_beyond_noise():
    heard = run(KEPT["seed"], share=0.0, with_others=False)
    now = guarded(heard.ours, heard.real[OURS])
    lost = [worse(each, now[each.name], KEPT["figures"][each.name]) for each in GUARDED]
    assert not [words for words in lost if words]


def test_every_guarded_figure_has_its_noise_from_many_draws():
    assert KEPT["draws"] >= 200
    assert {each.name for each in GUARDED} == set(KEPT["figures"])


def test_draws_hear_as_many_clips_of_each_set_as_the_quick_run():
    scores = Scores()
    for each in all_sets():
        clips = [ClipScore(f"{n}", 1.0, 1.0, set_name=each.name) for n in range(each.full)]
        scores.ours.setdefault(each.group, []).extend(clips)
    first, other = quick_share(scores), drawn(scores, np.random.default_rng(1))
    for group, clips in first.items():
        assert [c.set_name for c in clips] == [c.set_name for c in other[group]]
        assert len(clips) == sum(each.quick for each in all_sets() if each.group == group)
    assert [c.condition for c in first["d"]] == ["0"] * len(first["d"])
    assert [c.condition for c in other["d"]] != ["0"] * len(other["d"])


def test_draws_hear_the_quick_movements_with_as_many_pairs():
    label = Span(0.0, 1.0, (60, 64), 440.0, struck=2)
    pairs = [PairScore(label, n % 2 == 0, False, 100, n, n) for n in range(20)]
    played = [MovementScore(name, "x", 9.0, pairs=pairs) for name in ("another", *real.QUICK)]
    scores = Scores(real={OURS: played})
    first, other = quick_movements(scores), drawn_movements(scores, np.random.default_rng(1))
    assert [each.movement for each in other] == list(real.QUICK)
    assert [len(each.pairs) for each in other] == [20]
    assert guarded_real(first) == {"real: found": 0.5, "real: frames found": 0.095}
    assert guarded_real(first) != guarded_real(other)


@pytest.mark.parametrize(
    ("more", "now", "is_worse"),
    [(True, 0.80, True), (True, 0.90, False), (False, 1.30, True), (False, 1.10, False)],
)
def test_a_figure_is_worse_when_it_moves_the_wrong_way_by_more_than_three_deviations(
    more, now, is_worse
):
    kept = {"value": 1.0, "mean": 1.0, "deviation": 0.05}
    said = worse(Guarded("found", more, 0.01), now, kept)
    assert bool(said) is is_worse
    assert said is None or f"{now:g}" in said


def test_a_lucky_value_does_not_make_the_bound_stricter():
    kept = {"value": 1.0, "mean": 0.9, "deviation": 0.02}
    assert worse(Guarded("found", True, 0.01), 0.85, kept) is None

"""The drill is followed no worse than it was; figures of other seeds are in ``follower``.

The bounds are the figures of these seeds when they were written down, less what one clip more or
less can change.
"""

from collections.abc import Callable, Sequence

from tests.benchmarks.follower import clip_of_symbols, clip_with_sound, figures
from tests.benchmarks.practising.scoring import Score

SEED = 4


def pooled(clip: Callable, numbers: Sequence[int]):
    total = Score()
    for number in numbers:
        total.add(clip(number, SEED)[1])
    return figures(total, len(numbers))


def test_practice_without_sound_is_followed():
    found = pooled(clip_of_symbols, range(60))
    assert found.played > 2000
    assert found.f1 >= 0.965
    assert found.missed_f1 >= 0.8
    assert found.wrong_f1 >= 0.5


def test_practice_with_bowed_notes_is_heard_and_followed():
    found = pooled(clip_with_sound, (1, 6, 7))  # sixths, octaves, sixths; two minutes and a half
    assert found.f1 >= 0.96
    assert found.timing_median_ms <= 60.0
    assert found.times_listening >= 20.0

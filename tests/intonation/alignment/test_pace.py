"""Where the pace gave way: a published worked example, players with a known pace, and no page's."""

import math
import random
from itertools import accumulate

import pytest

from studio.intonation.alignment import pace
from studio.intonation.alignment.pace import GaveWay, Step, gave_way

# D. C. Montgomery, Introduction to Statistical Quality Control, tables 9.1 and 9.2 (from memory):
# twenty of mean 10, then ten of mean 11, of standard deviation 1. With the reference value 1/2 and
# the decision interval 5 the sum has risen since period 23 and signals at period 29.
MONTGOMERY = (
    *(9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40),
    *(10.08, 9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38),
    *(11.62, 11.31, 10.52),
)
JITTER = 0.06  # of a beat's logarithm, as practised players differ from one to the next


def played(logs: list[float], beats: float = 1.0, section: int = 0) -> list[Step]:
    """Steps of so many beats, each with the logarithm of its seconds a beat."""
    seconds = [beats * math.exp(log) for log in logs]
    starts = [0.0, *accumulate(seconds)]
    return [Step(n, n + 1, starts[n], took, beats, section) for n, took in enumerate(seconds)]


def steady(count: int, seed: int, drift: float = 0.0) -> list[float]:
    """Logarithms about 0.6 s; with ``drift`` the pace itself wanders and comes back."""
    chance, wander, found = random.Random(seed), 0.0, []
    for _each in range(count):
        wander = 0.9 * wander + drift * chance.gauss(0, 1)
        found.append(math.log(0.6) + wander + JITTER * chance.gauss(0, 1))
    return found


def test_the_sum_finds_the_published_shift_where_the_book_does(monkeypatch):
    monkeypatch.setattr(pace, "DECISION", 5.0)
    ((first, last),) = pace._stretches([value - 10.0 for value in MONTGOMERY])
    assert first + 1 == 23
    assert last + 1 in (29, 30)
    monkeypatch.setattr(pace, "DECISION", 8.0)
    assert list(pace._stretches([value - 10.0 for value in MONTGOMERY])) == []


@pytest.mark.parametrize("drift", [0.0, 0.02])
def test_a_steady_player_is_hardly_ever_called_slower(drift):
    called = [bool(gave_way(played(steady(150, seed, drift)))) for seed in range(200)]
    assert sum(called) == 0, "of 200"


def test_eight_slower_notes_and_a_stop_are_found_where_they_are():
    right = 0
    for seed in range(50):
        logs = steady(120, seed)
        for place in range(40, 48):
            logs[place] += math.log(1 / 0.7)
        logs[90] += math.log(3.5)
        places = gave_way(played(logs))
        (stopped,) = (place for place in places if place.kind == "stopped")
        assert stopped.last_note == 91
        assert stopped.extra_s == pytest.approx(0.6 * 2.5, abs=0.35)
        slower = [place for place in places if place.kind == "slower"]
        right += [*map(is_where_it_was, slower)] == [True]
    assert right >= 45, "of 50"


def is_where_it_was(place: GaveWay) -> bool:
    ends = abs(place.first_note - 40) <= 1 and abs(place.last_note - 48) <= 2
    return ends and place.doubt is not None and abs(place.share - 0.7) <= 1.5 * place.doubt


def test_of_a_few_notes_or_of_no_steady_pace_nothing_is_said():
    assert gave_way(played([0.0] * 6 + [2.0])) == ()
    chance = random.Random(1)
    wild = [0.8 * chance.gauss(0, 1) for _each in range(60)]
    assert gave_way(played(wild)) == ()


def test_a_new_mark_of_tempo_is_a_pace_of_its_own():
    logs = steady(40, 3), [log + math.log(2) for log in steady(40, 4)]
    assert gave_way(played(logs[0]) + played(logs[1], section=1)) == ()
    assert gave_way(played([*logs[0], *logs[1][:15]])) != ()

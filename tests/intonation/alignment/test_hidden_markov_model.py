"""The follower's arithmetic: fast forms against plain ones."""

import time
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.intonation import ExpectedNote
from studio.intonation.alignment import follow
from studio.intonation.alignment.emission_costs import Row, explain, fit_costs
from studio.intonation.alignment.hidden_markov_model import (
    AFTER_PAUSE,
    Expected,
    Habits,
    likeliest_path,
)
from tests.benchmarks.practising.drills import drill, expected_notes
from tests.intonation.heard import Clip

SCORE = Expected(
    [
        ExpectedNote(pitches=pitches, bar=bar)
        for bar, pitches in [
            *((1, ("G3",)), (1, ("G4",)), (1, ("G3", "G4"))),
            *((2, ("Bb3", "G4")), (3, ("A4",)), (3, ("A4", "A4")), (4, ("G3", "D4", "B4"))),
        ]
    ]
)


def scores(seed):
    rng = np.random.default_rng(seed)
    return Expected(expected_notes(drill(rng, pattern="scale", octaves=1)))


@settings(max_examples=60)
@given(seed=st.integers(0, 10**6), ease=st.sampled_from([1.0, AFTER_PAUSE]))
def test_a_step_costs_what_the_habits_say_place_by_place(seed, ease):
    expected = with_leads(scores(seed % 7), seed)
    habits = Habits(expected, ease)
    costs = np.random.default_rng(seed).uniform(0.0, 20.0, len(expected) + 1)
    plain = [np.inf, *((costs + habits.into(place)).min() for place in range(1, len(costs)))]
    assert habits.step(costs) == pytest.approx(np.array(plain))


def with_leads(expected, seed):
    """The same score, and the page leads somewhere else from one note of it, as a repeat does."""
    notes = list(expected.notes)
    here, there = np.random.default_rng(seed).integers(0, len(notes), 2)
    notes[here] = replace(notes[here], leads_to=(notes[there].ref,))
    return Expected(notes)


def test_going_on_is_free_and_repeating_cheaper_than_going_elsewhere():
    habits = Habits(Expected([ExpectedNote(pitches=("G3", "E4"), bar=bar) for bar in range(12)]))
    for place in range(1, 13):
        into = habits.into(place)
        others = [cost for at, cost in enumerate(into) if at not in (place - 1, place)]
        assert into[place - 1] == 0.0 < into[place] < min(others)


def test_a_pause_makes_going_back_likelier():
    usual, rested = Habits(scores(1)), Habits(scores(1), AFTER_PAUSE)
    assert np.all(rested.into(1) <= usual.into(1))
    assert rested.into(1)[-1] < usual.into(1)[-1]


voices = st.lists(st.floats(5400.0, 7800.0), min_size=1, max_size=4).map(sorted)


@settings(max_examples=150)
@given(readings=st.lists(voices, min_size=1, max_size=3))
def test_the_fast_costs_are_those_of_the_explanation(readings):
    rows = [Row(0, tuple(each), 0.2 * number, number) for number, each in enumerate(readings)]
    costs = fit_costs(rows, SCORE)
    for place in range(len(SCORE)):
        fits = explain_or_none(rows, place)
        assert costs[0, place] == pytest.approx(fits)


def explain_or_none(rows, place):
    try:
        return explain(rows, place, SCORE).cost
    except ValueError:  # no reading can stand for it
        return np.inf


@settings(max_examples=40)
@given(seed=st.integers(0, 10**6))
def test_the_likeliest_path_is_the_cheapest_of_all(seed):
    """Against every path there is, for a short score."""
    rng = np.random.default_rng(seed)
    expected = Expected(SCORE.notes[:3])
    fits, extras = rng.uniform(0, 6, (4, 3)), rng.uniform(0, 6, 4)
    gaps_s = rng.uniform(0, 3, 4)
    found = likeliest_path(expected, fits, extras, gaps_s)
    choices = [None, 0, 1, 2]
    every = [(a, b, c, d) for a in choices for b in choices for c in choices for d in choices]
    cheapest = min(cost_of(path, expected, fits, extras, gaps_s) for path in every)
    assert cost_of(found, expected, fits, extras, gaps_s) == pytest.approx(cheapest)


def cost_of(path, expected, fits, extras, gaps_s):
    total, at = 0.0, 0
    for t, place in enumerate(path):
        if place is None:
            total += extras[t]
            continue
        habits = Habits(expected, AFTER_PAUSE if gaps_s[t] > 1.5 else 1.0)
        total += habits.into(place + 1)[at] + fits[t, place]
        at = place + 1
    return total


def test_the_time_grows_with_the_score_and_not_with_its_square():
    clip = Clip()
    for number in range(100):
        clip.pair(*[("Bb3", "Bb4"), ("C4", "C5")][number % 2])
    measurement = clip.done()

    def cpu_s(bars):
        score = [ExpectedNote(pitches=("Bb3", "Bb4"), bar=bar) for bar in range(bars)]
        times = []
        for _ in range(4):
            begun = time.process_time()
            follow(measurement, score)
            times.append(time.process_time() - begun)
        return min(times)

    times = [cpu_s(bars) for bars in (500, 4000)]
    assert all(after < 20 * before for before, after in pairwise(times))

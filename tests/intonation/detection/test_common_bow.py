"""Two notes under one bow, told from one after the other."""

import numpy as np
import pytest

from studio.intonation.detection import common_bow, find_soundings
from studio.intonation.detection.envelopes import median, percentile
from studio.intonation.detection.segments import Event
from tests.intonation.detection import measure, scenes
from tests.intonation.detection.scenes import Conditions
from tests.intonation.synth import SR, cents


def _event(start_s: float, end_s: float, *f0_hz: float, new_stroke: bool = False) -> Event:
    return Event(start_s, end_s, np.array(f0_hz), new_stroke=new_stroke)


def test_a_pair_is_followed_through_all_events_that_hold_it():
    events = [
        _event(0.0, 0.2, 440.0, 550.0),
        _event(0.2, 0.5, 330.0, 441.0, 551.0),
        _event(0.5, 0.8, 330.0),
    ]
    runs = {(r.first, r.last): r for r in common_bow.pair_runs(events)}
    run = runs[0, 1]
    assert (run.start_s, run.end_s, run.more) == (0.0, 0.5, 1)
    assert run.f0_hz.tolist() == [441.0, 551.0]  # as in the longer event
    assert run.others_hz.tolist() == [330.0]


def test_a_new_stroke_and_a_gap_end_a_run():
    pair = 440.0, 550.0
    stroke = [_event(0.0, 0.4, *pair), _event(0.4, 0.8, *pair, new_stroke=True)]
    gap = [_event(0.0, 0.4, *pair), _event(0.5, 0.8, *pair)]
    for events in (stroke, gap):
        assert [(r.first, r.last) for r in common_bow.pair_runs(events)] == [(0, 0), (1, 1)]


@pytest.mark.parametrize("ratio", [2.0, 3.0, 4.0])
def test_notes_that_share_all_partials_are_not_asked(ratio):
    assert common_bow.pair_runs([_event(0.0, 1.0, 220.0, 220.0 * ratio)]) == []


def _pairs_found(scene: scenes.Scene) -> tuple[int, int, float]:
    """Double stops found, played, and seconds of two notes heard where one is played."""
    heard = find_soundings(scene.y, SR)
    right = played = 0
    false_s = 0.0
    for true in scene.truth:
        shared = [(measure.overlap_s(h, true), h) for h in heard]
        if len(true.f0s_hz) == 2:
            played += 1
            right += any(s > 0.1 and _same(h, true.f0s_hz) for s, h in shared)
        else:
            false_s += sum(s for s, h in shared if s > 0.0 and len(h.voices) > 1)
    return right, played, false_s


def _same(heard, f0s_hz) -> bool:
    return len(heard.voices) == len(f0s_hz) and all(
        abs(cents(v.f0_hz / f)) < 50.0 for v, f in zip(heard.voices, f0s_hz, strict=True)
    )


@pytest.mark.parametrize("real", [False, True])
def test_quick_double_stops_of_one_bow_are_found_in_a_room(real):
    rooms = [Conditions(t60_s, 25.0, real=real) for t60_s in (0.5, 0.8, 1.2)]
    made = [scenes.quick(np.random.default_rng([31, n]), where) for n, where in enumerate(rooms)]
    counted = np.array([_pairs_found(scene) for scene in made])
    right, played, false_s = counted.sum(axis=0)
    single_s = sum(t.end_s - t.start_s for s in made for t in s.truth if len(t.f0s_hz) == 1)
    assert played >= 12
    assert right >= 0.7 * played
    assert false_s <= 0.15 * single_s  # a stroke's end is in the room under the next one's start


@pytest.mark.parametrize("real", [False, True])
def test_a_quick_line_across_the_strings_is_no_double_stop(real):
    made = [
        scenes.quick_line(np.random.default_rng([32, n]), Conditions(t60_s, 25.0, real=real))
        for n, t60_s in enumerate((0.5, 1.0, 1.5))
    ]
    false_s = sum(_pairs_found(scene)[2] for scene in made)
    played_s = sum(t.end_s - t.start_s for scene in made for t in scene.truth)
    assert false_s <= 0.08 * played_s  # 1 % in real playing; these strings ring for 2 s


def test_percentiles_are_those_of_numpy():
    x = np.random.default_rng(3).standard_normal((37, 5))
    for percent in (0.0, 10.0, 60.0, 85.0, 100.0):
        assert percentile(x, percent, 0) == pytest.approx(np.percentile(x, percent, axis=0))
    assert median(x, 1) == pytest.approx(np.median(x, axis=1))

"""The benchmark's definitions, on answers made by hand; and its sets, which a seed makes again."""

import numpy as np
import pytest

from studio.intonation.model.measurement import Event, HeardInterval, Voice, kind_of
from tests.benchmarks.ear import docs, playing, summary
from tests.benchmarks.ear.degrade import CHANGES
from tests.benchmarks.ear.hearing import Heard, HeardMark, HeardNote, frames_of
from tests.benchmarks.ear.material import SR, Material, TrueEvent, TrueRun, interval_class
from tests.benchmarks.ear.scoring import score, score_event, score_frames
from tests.benchmarks.ear.sets import all_sets, named

PAIR = TrueEvent(1.0, 2.0, (300.0, 500.0), 884.4)


def event(start_s, end_s, f0s_hz, size_cents=884.9, stated=0.4):
    voices = tuple(Voice(60, "C4", f) for f in f0s_hz)
    intervals = (HeardInterval(0, 1, size_cents, stated),) if len(f0s_hz) == 2 else ()
    return Event(0, kind_of(len(f0s_hz)), start_s, end_s, voices, intervals)


def off(hz, cents):
    return hz * 2.0 ** (cents / 1200.0)


@pytest.mark.parametrize(
    ("heard", "outcome"),
    [
        (event(1.0, 2.0, (off(300.0, 45), off(500.0, -45))), "right"),
        (event(1.0, 2.0, (300.0, off(500.0, 55))), "wrong"),
        (event(1.0, 2.0, (300.0,)), "fewer"),
        (event(1.0, 2.0, (300.0, 400.0, 500.0)), "more"),
        (event(1.55, 2.5, (300.0, 500.0)), "missed"),
        (event(3.0, 4.0, (300.0, 500.0)), "missed"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_pair_is_found_when_both_pitches_are_near_for_half_its_time(heard, outcome):
    assert score_event(PAIR, (heard,)).outcome == outcome


def test_the_error_is_measured_less_true_and_unsure_ones_have_none():
    assert score_event(PAIR, (event(1, 2, (300.0, 500.0)),)).error_cents == pytest.approx(0.5)
    unsure = score_event(PAIR, (event(1, 2, (300.0, 500.0), stated=None),))
    assert unsure.unsure
    assert unsure.error_cents is None


def test_two_voices_during_one_note_are_a_false_pair_when_they_last():
    note = TrueEvent(1.0, 2.0, (300.0,))
    single = event(1.0, 1.7, (300.0,))
    assert score_event(note, (single, event(1.7, 2.0, (300.0, 500.0)))).false_pair
    assert not score_event(note, (single, event(1.9, 2.0, (300.0, 500.0)))).false_pair


def test_each_run_is_met_once_and_other_marks_count_against_precision():
    runs = [TrueRun(1.0, 2.0, "interval_wide"), TrueRun(3.0, 4.0, None)]
    clip = Material("x", np.zeros(SR), [], runs)
    marks = [HeardMark(*m) for m in [(1, 2, "interval_wide")] * 2 + [(3, 4, "interval_wide")]]
    found = summary.mark_row([score(clip, Heard([], 0.1, marks=marks))])
    assert (found["expected"], found["met"], found["made"]) == (1, 1, 3)
    assert found["precision"] == pytest.approx(1 / 3, abs=1e-4)
    wrong_way = Heard([], 0.1, marks=[HeardMark(1, 2, "interval_narrow")])
    assert summary.mark_row([score(clip, wrong_way)])["met"] == 0


def test_frames_of_both_notes_are_a_found_pair_and_of_one_are_not(monkeypatch):
    monkeypatch.setattr("tests.benchmarks.ear.scoring.mir_measures", lambda clip, heard: {})
    clip = Material("x", np.zeros(3 * SR), [PAIR])
    lower, upper = HeardNote(1.0, 2.0, 300.0), HeardNote(1.0, 1.9, off(300.0, 890.0))
    both = score_frames(clip, Heard(frames_of([lower, upper], 3.0), 0.1)).events[0]
    assert both.outcome == "right"
    assert both.error_cents == pytest.approx(5.6, abs=0.01)
    one = score_frames(clip, Heard(frames_of([lower], 3.0), 0.1)).events[0]
    assert one.outcome == "fewer"
    assert one.one_voice


def test_coverage_counts_errors_within_the_stated_deviation():
    events = [score_event(PAIR, (event(1, 2, (300.0, 500.0), 884.4 + e),)) for e in (0.3, 0.7, 2)]
    row = summary.pair_row(events)
    assert row["within_1"] == pytest.approx(1 / 3, abs=1e-4)
    assert row["within_2"] == pytest.approx(2 / 3, abs=1e-4)


@pytest.mark.parametrize(
    ("size", "name"),
    [(20.0, "unison"), (392.0, "major third"), (1203.0, "octave within 4 c"), (1220.0, "octave")],
)
def test_an_interval_is_named_by_the_nearest_size(size, name):
    assert interval_class(size) == name


@pytest.mark.parametrize("name", ["made, 30 dB", "recorded notes", "sixths, viola", "talk"])
def test_the_same_seed_makes_the_same_clip_and_another_does_not(name):
    first, again, other = (named(name).clip(0, seed) for seed in (5, 5, 6))
    assert np.array_equal(first.y, again.y)
    assert first.events == again.events
    assert not np.array_equal(first.y[: 4 * SR], other.y[: 4 * SR])


def test_each_kind_of_set_is_heard_in_both_runs():
    for count in ("full", "quick"):
        assert {each.group for each in all_sets() if getattr(each, count)} == set("abcdef")


def test_degraded_clips_play_what_the_clean_one_plays():
    clean, changed = (named(name).clip(1, 3) for name in ("clean", "clipping"))
    assert clean.events == changed.events
    assert clean.twin == changed.twin
    assert not np.array_equal(clean.y, changed.y)


@pytest.mark.parametrize("name", list(CHANGES))
def test_degrading_keeps_length_and_time(name):
    rng = np.random.default_rng(1)
    click = np.zeros(SR)
    click[SR // 2 : SR // 2 + 400] = 0.5 * np.hanning(400) * np.sin(np.arange(400) * 0.3)
    changed = CHANGES[name](rng, click)
    assert changed.shape == click.shape
    assert abs(int(np.argmax(np.abs(changed))) - (SR // 2 + 200)) < 0.006 * SR


def test_expected_marks_are_those_of_runs_that_end_beyond_the_tolerance():
    clip = playing.scale("octaves", "violin", np.random.default_rng(4))
    assert clip.runs
    for run in clip.runs:
        last = next(e for e in clip.events if e.start_s == run.start_s)
        away = abs(last.size_cents - 1200.0)
        assert (away > clip.policy.tolerance_cents["P8"]) == (run.code is not None)


def test_figures_go_between_the_marked_lines_and_nothing_else_changes(tmp_path):
    page = tmp_path / "page.md"
    page.write_text(f"before\n{docs.BEGIN}\nold\n{docs.END}\nafter\n")
    docs.put("new", page)
    assert page.read_text() == f"before\n{docs.BEGIN}\nnew\n{docs.END}\nafter\n"
    page.write_text("no marks")
    with pytest.raises(ValueError, match="must hold"):
        docs.put("new", page)

"""A small share of ``deploy/measure progress``: what is said of a year is true."""

from studio.progress.playings import Playings
from studio.progress.trends import CLOSER, answers
from tests.benchmarks.progress import PUPILS, is_right, measured
from tests.benchmarks.progressing.pupils import year_of

SEED = 900
NAMED = {pupil.name: pupil for pupil in PUPILS}


def test_a_pupil_who_improves_is_said_to():
    found = measured(NAMED["improves, A4 and microphone change"], 8, SEED)
    assert found.right >= 7 / 8
    assert found.wrong == 0
    assert found.improved == 1


def test_nothing_is_said_of_one_who_does_not_though_drills_get_easier():
    found = measured(NAMED["does not change, each drill easier"], 10, SEED)
    assert found.improved <= 1 / 10
    assert found.naive > 0.9  # a line through all playings says it of nearly every year


def test_single_notes_are_no_progress_because_a4_moved():
    pupil = NAMED["single notes, A4 moves by 15 c"]
    for seed in range(SEED, SEED + 8):
        found = answers(Playings.of(year_of(pupil, seed)))
        assert is_right(found.trends, pupil)
        assert all(trend.outcome != CLOSER for trend in found.trends)
        assert [change.what for change in found.changed] == ["a4"]
        assert abs(abs(found.changed[0].by) - 15.0) < 2.0


def test_five_weeks_are_too_little():
    assert measured(NAMED["has sent for five weeks"], 8, SEED).clear == 0

"""What is said of a run: how it went, whether a note moved, how long it was held, and the bow."""

import pytest

from studio.intonation import ExpectedNote, Policy, judge
from studio.intonation.judging.attribution import MOVED_CENTS
from tests.intonation.heard import Clip

SIXTH = ExpectedNote(
    pitches=("Bb3", "G4"), strings=(4, 3), fingers=(2, 3), ref="n1", bar=2, manner="together"
)


def judged(clip, *score, policy=None):
    return judge(clip.done(), policy or Policy(), score or None)


def remarks(clip, code, *score):
    [run] = judged(clip, *score).runs
    return [remark for remark in run.remarks if remark.code == code]


# How it went


@pytest.mark.parametrize(
    ("first", "last", "trend", "change"),
    [(40, 18, "better", -22), (-40, 18, "better", -22), (18, -40, "worse", 22), (5, 6, "same", 1)],
)
def test_a_run_is_better_worse_or_the_same_by_its_distance_from_the_target(
    first, last, trend, change
):
    clip = Clip().pair("Bb3", "Bb4", first).pair("Bb3", "Bb4", last)
    [run] = judged(clip).runs
    assert (run.trend, run.change_cents) == (trend, pytest.approx(change))
    assert run.change_uncertainty_cents == pytest.approx(0.5 * 2**0.5)
    [remark] = remarks(clip, "run_changed")
    assert (remark.event, remark.params["trend"]) == (1, trend)


def test_a_change_within_twice_its_uncertainty_is_none():
    clip = Clip().pair("Bb3", "Bb4", 20, uncertainty=3.0).pair("Bb3", "Bb4", 13, uncertainty=3.0)
    [run] = judged(clip).runs
    assert run.trend == "same"


def test_one_playing_alone_has_no_change_to_tell():
    assert remarks(Clip().pair("Bb3", "Bb4", 18, landing=40), "run_changed") == []


# Separately against together


def test_a_note_that_went_down_when_the_other_came_is_told():
    clip = Clip().note("Bb3").note("Bb4", -12.0).pair("Bb3", "Bb4", 0.0, low_off=-12.0)
    [remark] = remarks(clip, "note_moved")
    assert remark.event == 2
    assert remark.params["moved_cents"] == pytest.approx(-12.0)
    assert remark.params["uncertainty_cents"] == pytest.approx(0.5 * 2**0.5)
    assert remark.sentence == (
        "The lower note went 12 ± 1 cents lower when the other note came to it."
    )
    assert judged(clip).marks == ()  # in tune together: said, and no fault


def test_with_the_drill_the_fingers_are_named():
    clip = Clip().note("Bb3").note("G4", -27.6).pair("Bb3", "G4", 0.0, low_off=-12.0)
    [remark] = remarks(clip, "note_moved", SIXTH)
    assert remark.sentence == (
        "The second finger on the G string went 12 ± 1 cents lower when the third finger came down."
    )


def test_the_note_played_second_is_told_by_where_it_stood():
    clip = Clip().note("Bb3").note("Bb4", 0.0).pair("Bb3", "Bb4", 14.0)
    [remark] = remarks(clip, "note_moved")
    assert remark.sentence == "The upper note was 14 ± 1 cents higher together than alone."


@pytest.mark.parametrize(
    ("by", "unsure", "told"),
    [
        (MOVED_CENTS + 0.1, 0.5, True),
        (-MOVED_CENTS - 0.1, 0.5, True),
        (MOVED_CENTS - 0.1, 0.5, False),
        (12.0, 5.0, False),
    ],
)
def test_a_movement_must_pass_the_threshold_and_twice_its_uncertainty(by, unsure, told):
    clip = Clip().note("Bb3", unsure=unsure).pair("Bb3", "Bb4", 0.0, low_off=by, unsure=unsure)
    assert bool(remarks(clip, "note_moved")) is told


def test_notes_too_short_doubtful_or_unmeasured_tell_nothing():
    for fields in ({"length": 0.2}, {"confidence": 0.3}, {"unsure": None}):
        clip = Clip().note("Bb3", **fields).pair("Bb3", "Bb4", 0.0, low_off=-20.0)
        assert remarks(clip, "note_moved") == []


def test_only_the_first_playing_after_the_separate_notes_is_held_against_them():
    clip = Clip().note("Bb3").pair("Bb3", "Bb4", 0.0).pair("Bb3", "Bb4", 0.0, low_off=-20.0)
    assert remarks(clip, "note_moved") == []
    clip.note("Bb3").pair("Bb3", "Bb4", 0.0, low_off=-20.0)
    assert [remark.event for remark in remarks(clip, "note_moved")] == [4]


def test_notes_played_alone_long_before_are_another_visit():
    score = ExpectedNote(pitches=("Bb3", "Bb4"))
    near = Clip().note("Bb3").silence(10.0).pair("Bb3", "Bb4", 0.0, low_off=-20.0)
    assert len(remarks(near, "note_moved", score)) == 1
    far = Clip().note("Bb3").silence(30.0).pair("Bb3", "Bb4", 0.0, low_off=-20.0)
    assert remarks(far, "note_moved", score) == []


def test_a_unisons_notes_cannot_be_held_against_themselves():
    clip = Clip().note("D4").note("D4", 20).pair("D4", "D4", 20)
    assert remarks(clip, "note_moved") == []


def test_a_written_open_string_does_not_move():
    score = ExpectedNote(pitches=("D4", "B4"), strings=(3, 2), fingers=(0, 1))
    clip = Clip().note("D4").pair("D4", "B4", 0.0, low_off=12.0)
    assert remarks(clip, "note_moved", score) == []
    assert len(remarks(clip, "note_moved")) == 1


# Holding


def test_a_short_last_playing_is_said_and_is_no_fault():
    clip = Clip().pair("Bb3", "Bb4", 0.0, length=0.6)
    [remark] = remarks(clip, "hold_short")
    assert remark.sentence.startswith("The last playing was held for 0.6 s. With 1 s or more")
    assert judged(clip).marks == ()
    assert remarks(Clip().pair("Bb3", "Bb4", 0.0, length=1.2), "hold_short") == []


def test_the_drills_own_hold_goes_before_the_usual_one():
    score = ExpectedNote(pitches=("Bb3", "Bb4"), hold_s=2.0)
    clip = Clip().pair("Bb3", "Bb4", 0.0, length=1.2)
    [run] = judged(clip, score).runs
    assert (run.held_s, run.least_hold_s) == (pytest.approx(1.2), 2.0)
    [remark] = remarks(clip, "hold_short", score)
    assert remark.sentence.endswith("The drill asks for 2 s.")
    short = ExpectedNote(pitches=("Bb3", "Bb4"), hold_s=0.5)
    assert remarks(Clip().pair("Bb3", "Bb4", 0.0, length=0.6), "hold_short", short) == []


# The bow


def quiet(clip=None, **fields):
    return (clip or Clip()).pair("Bb3", "G4", 2.0, length=1.5, **fields)


def test_a_voice_that_fell_silent_is_said_with_when_and_how_long():
    clip = quiet(Clip().silence(12.0), dropouts=((), ((0.4, 0.8), (1.0, 1.2))))
    [remark] = remarks(clip, "voice_dropout")
    assert remark.sentence == "The upper note fell silent at 0:12, 2 times, for 0.6 s in all."
    assert judged(clip).marks == ()


def test_a_bow_that_only_gripped_anew_is_not_told():
    assert remarks(quiet(dropouts=(((0.4, 0.5),), ())), "voice_dropout") == []


def test_one_note_that_went_on_alone_for_a_moment_is_said_to_have_lost_the_other():
    clip = Clip().pair("Bb3", "G4", 2.0, length=1.0).note("Bb3", length=0.5, each=0.5)
    clip.pair("Bb3", "G4", 2.0, length=1.2)
    [remark] = remarks(clip, "voice_dropout", SIXTH)
    assert remark.sentence == "The upper note fell silent at 0:01 for 0.5 s."
    assert judged(clip, SIXTH).marks == ()


def test_a_note_played_separately_between_two_playings_is_none_lost():
    breath = Clip().pair("Bb3", "G4", 2.0).note("Bb3", length=0.5).pair("Bb3", "G4", 2.0)
    assert remarks(breath, "voice_dropout") == []
    long = Clip().pair("Bb3", "G4", 2.0, length=1.0).note("Bb3", length=1.0)
    assert remarks(long.pair("Bb3", "G4", 2.0), "voice_dropout") == []


def test_a_lost_voice_is_a_mark_where_the_drill_holds_both():
    clip = quiet(dropouts=(((0.4, 0.8),), ()))
    [mark] = judged(clip, SIXTH).marks
    assert (mark.code, mark.voice, mark.severity) == ("voice_dropout", 0, 1)
    assert (mark.start_s, mark.end_s) == (pytest.approx(0.4), pytest.approx(0.8))
    assert mark.sentence == (
        "The lower note of the major sixth B♭3–G4 fell silent in bar 2 at 0:00 for 0.4 s. "
        "Keep the bow on both strings."
    )


@pytest.mark.parametrize(
    "fields",
    [
        {"dropouts": (((0.4, 0.6),), ())},  # short
        {"dropouts": (((0.4, 0.8),), ()), "confidence": 0.7},
        {"dropouts": ((), ())},
    ],
)
def test_a_doubtful_loss_is_not_marked(fields):
    assert judged(quiet(**fields), SIXTH).marks == ()


def test_where_the_drill_does_not_say_that_both_are_held_nothing_is_marked():
    tune = ExpectedNote(pitches=("Bb3", "G4"))
    clip = quiet(dropouts=(((0.4, 0.9),), ()), levels=(-10.0, -50.0))
    result = judged(clip, tune)
    assert result.marks == ()
    codes = [remark.code for remark in result.runs[0].remarks]
    assert codes == ["voice_dropout", "balance"]


def test_a_soft_voice_is_said_and_a_hidden_one_marked_where_both_are_held():
    assert remarks(quiet(levels=(-10.0, -27.0)), "balance") == []
    said = quiet(levels=(-10.0, -30.0))
    [remark] = remarks(said, "balance")
    assert remark.sentence == "The upper note was much softer than the lower one."
    assert judged(said, SIXTH).marks == ()  # 2 dB beyond what is said, with 5.5 dB of doubt
    [mark] = judged(quiet(levels=(-42.0, -10.0)), SIXTH).marks
    assert (mark.code, mark.voice) == ("balance", 0)
    assert mark.sentence.endswith("Both are to be held: lean the bow more towards the G string.")


def test_the_levels_of_an_octave_are_not_compared():
    clip = Clip().pair("Bb3", "Bb4", 0.0, length=1.5, levels=(-10.0, -40.0))
    assert remarks(clip, "balance") == []


def test_a_run_has_one_mark_and_the_interval_goes_first():
    clip = Clip().pair("Bb3", "G4", 30.0, length=1.5, dropouts=((), ((0.4, 0.8),)))
    result = judged(clip, SIXTH)
    assert [mark.code for mark in result.marks] == ["interval_wide"]
    assert "voice_dropout" in [remark.code for remark in result.runs[0].remarks]


# Ranks


def test_marks_are_in_time_and_ranked_by_importance():
    clip = Clip(source="given").pair("Bb3", "Bb4", 18).pair("C4", "C5", -45).pair("D4", "F4", 24)
    clip.string("D4", -14.0).note("D4", -14.0)
    marks = judged(clip).marks
    assert [mark.code for mark in marks] == [
        "open_string_off",
        "interval_wide",
        "interval_narrow",
        "interval_wide",
    ]
    # The tuning first; then 45 of 15, 24 of 18 and 18 of 15 cents.
    assert [mark.rank for mark in marks] == [1, 4, 2, 3]
    times = [mark.start_s for mark in marks[1:]]
    assert times == sorted(times)

"""Verdicts, runs and marks from what was heard."""

from dataclasses import replace

import pytest

from studio.intonation import ExpectedNote, Policy, judge
from tests.intonation.heard import Clip


def judged(clip, policy=None, score=None):
    return judge(clip.done(), policy or Policy(), score)


@pytest.mark.parametrize(
    ("off", "verdict"),
    [(0, "in_tune"), (7.5, "in_tune"), (-7.6, "near"), (15, "near"), (16.1, "out"), (-40, "out")],
)
def test_octaves_are_judged_within_15_cents(off, verdict):
    [row] = judged(Clip().pair("Bb3", "Bb4", off)).intervals
    assert (row.short, row.verdict) == ("P8", verdict)
    assert row.deviation_cents == pytest.approx(off)


def test_sixths_and_thirds_have_the_wider_tolerance():
    result = judged(Clip().pair("G3", "E4", 17).pair("D4", "F4", 17).pair("C4", "F4", 17))
    assert [row.verdict for row in result.intervals] == ["near", "near", "out"]


def test_just_third_is_in_tune_and_equal_third_is_not_where_the_level_is_high():
    clip = Clip().pair("D4", "F#4", 0).pair("G3", "B3", 13.7)
    advanced = judged(clip, Policy(level="advanced"))
    assert [row.verdict for row in advanced.intervals] == ["in_tune", "out"]
    equal = judged(clip, Policy(level="advanced", tuning="equal"))
    assert [row.verdict for row in equal.intervals] == ["out", "in_tune"]


def test_target_follows_the_tuning():
    clip = Clip().pair("Eb4", "C5", 0)
    targets = {t: judged(clip, Policy(tuning=t)).intervals[0].target_cents for t in TUNINGS}
    # Ellis, App. XX: 5/3 has 884.359 cents, 27/16 905.865.
    assert targets["just"] == pytest.approx(884.359, abs=0.001)
    assert targets["pythagorean"] == pytest.approx(905.865, abs=0.001)
    assert targets["equal"] == 900.0


TUNINGS = ("just", "pythagorean", "equal")


def test_a_mark_needs_more_than_twice_the_uncertainty_beyond_the_tolerance():
    close = judged(Clip().pair("Bb3", "Bb4", 18, uncertainty=1.6))
    assert [(r.verdict, r.unsure_reason) for r in close.intervals] == [("unsure", "close_to_limit")]
    assert close.marks == ()
    assert len(judged(Clip().pair("Bb3", "Bb4", 18, uncertainty=1.4)).marks) == 1


def test_what_was_not_measured_is_unsure():
    result = judged(Clip().pair("Bb3", "Bb4", 40, uncertainty=None))
    assert [(r.verdict, r.unsure_reason) for r in result.intervals] == [("unsure", "not_measured")]
    assert result.marks == ()


def test_a_measurement_coarser_than_the_tolerance_is_not_called_in_tune():
    [row] = judged(Clip().pair("Bb3", "Bb4", 1, uncertainty=9.0)).intervals
    assert (row.verdict, row.unsure_reason) == ("unsure", "too_uncertain")


@pytest.mark.parametrize("tuning", TUNINGS)
def test_sizes_without_an_agreed_target_are_reported_and_never_marked(tuning):
    clip = Clip().pair("F4", "B4", 30).pair("D4", "C5", -30).pair("D4", "E4", 40)
    result = judged(clip, Policy(tuning=tuning))
    assert [row.name for row in result.intervals] == ["tritone", "minor seventh", "major second"]
    assert {(row.verdict, row.unsure_reason) for row in result.intervals} == {
        ("unsure", "no_agreed_target")
    }
    assert result.marks == ()


def test_the_teachers_choice_gives_a_seventh_its_target():
    policy = Policy(targets_cents={"m7": 996.09})
    [row] = judged(Clip().pair("D4", "C5", 30, size=996.09), policy).intervals
    assert (row.verdict, row.deviation_cents) == ("out", pytest.approx(30))


def test_a_written_spelling_gives_a_tritone_its_target():
    score = [ExpectedNote(pitches=("F4", "B4"), ref="n7")]
    [row] = judged(Clip().pair("F4", "B4", 30), score=score).intervals
    assert (row.name, row.verdict, row.score_ref) == ("augmented fourth", "out", "n7")


@pytest.mark.parametrize(
    ("low", "high", "name", "short"),
    [("F4", "B4", "augmented fourth", "A4"), ("B3", "F4", "diminished fifth", "d5")],
)
def test_a_key_names_a_tritone_and_leaves_it_unjudged(low, high, name, short):
    [row] = judged(Clip().pair(low, high, 30), Policy(key="C major")).intervals
    assert (row.name, row.short, row.verdict) == (name, short, "unsure")
    assert row.unsure_reason == "no_agreed_target"


@pytest.mark.parametrize(
    ("interval", "spelled", "target"),
    # 45/32 and 64/45 (Ellis, App. XX; recomputed): 590.224 and 609.776 cents.
    [("A4", ("F4", "B4"), 590.224), ("d5", ("F4", "Cb5"), 609.776)],
)
def test_the_drills_interval_spells_a_tritone_that_no_key_spells(interval, spelled, target):
    clip = Clip().pair("F4", "B4", 0, size=target)
    [row] = judged(clip, Policy(interval=interval)).intervals
    assert (row.low_pitch, row.high_pitch) == spelled
    assert (row.short, row.verdict) == (interval, "in_tune")
    assert row.target_cents == pytest.approx(target, abs=0.001)


# Runs


def test_playings_of_one_double_stop_are_one_run_with_one_mark():
    clip = Clip().pair("Bb3", "Bb4", 40).pair("Bb3", "Bb4", 31).pair("Bb3", "Bb4", 18)
    result = judged(clip)
    [run] = result.runs
    assert run.playings == (0, 1, 2)
    assert (round(run.first_cents), round(run.last_cents), run.trend) == (40, 18, "better")
    [mark] = result.marks
    assert (mark.events, mark.run, mark.start_s, mark.end_s) == ((2,), 0, 2.0, 2.9)


def test_a_run_that_ends_in_tune_is_not_marked():
    clip = Clip().pair("Bb3", "Bb4", 40).pair("Bb3", "Bb4", 22).pair("Bb3", "Bb4", 4)
    assert judged(clip).marks == ()


def test_a_run_that_gets_worse_is_marked_for_its_last_playing():
    result = judged(Clip().pair("Bb3", "Bb4", 3).pair("Bb3", "Bb4", -25))
    assert [mark.code for mark in result.marks] == ["interval_narrow"]
    assert result.runs[0].trend == "worse"


def test_a_run_has_any_number_of_playings():
    clip = Clip()
    for playing in range(12):
        clip.pair("Bb3", "Bb4", 60 - 3 * playing).silence(2.0)
    [run] = judged(clip).runs
    assert len(run.playings) == 12


def test_broken_notes_belong_to_their_double_stop_and_are_judged_as_its_interval():
    # A hand that stays still plays a just sixth broken and together: 15.6 cents from equal.
    clip = (
        Clip().note("Eb4").note("C5", -15.6).pair("Eb4", "C5", 0).note("Eb4").pair("Eb4", "C5", 0)
    )
    result = judged(clip)
    [run] = result.runs
    assert (run.events, run.broken, run.playings) == ((0, 1, 2, 3, 4), (0, 1, 3), (2, 4))
    assert run.broken_cents == pytest.approx(0.0, abs=0.1)
    assert result.marks == ()
    assert result.singles == ()


def test_broken_notes_are_not_marked_separately_even_where_singles_are_judged():
    clip = Clip().note("Eb4").note("C5", 40).pair("Eb4", "C5", 0)
    result = judged(clip, Policy(judge_singles=True))
    assert (result.singles, result.marks) == ((), ())


def test_other_double_stops_end_a_run():
    clip = Clip().pair("Bb3", "Bb4", 20).pair("C4", "C5", 20).pair("Bb3", "Bb4", 20)
    result = judged(clip)
    assert [run.playings for run in result.runs] == [(0,), (1,), (2,)]
    assert len(result.marks) == 3


def test_a_semitone_up_with_both_notes_is_another_double_stop():
    clip = Clip().pair("Bb3", "Bb4", 0, low_off=20).pair("B3", "B4", 0, low_off=-25)
    assert len(judged(clip).runs) == 2


def test_a_foreign_note_between_ends_a_run():
    clip = Clip().pair("Bb3", "Bb4", 20).note("E4").pair("Bb3", "Bb4", 20)
    assert len(judged(clip).runs) == 2


def test_a_scrape_between_two_playings_does_not_end_a_run():
    clip = Clip().pair("Bb3", "Bb4", 20).note("E4", length=0.1).pair("Bb3", "Bb4", 2)
    assert [run.playings for run in judged(clip).runs] == [(0, 2)]
    doubtful = Clip().pair("Bb3", "Bb4", 20).note("E4", confidence=0.3).pair("Bb3", "Bb4", 2)
    assert [run.playings for run in judged(doubtful).runs] == [(0, 2)]


def test_an_octaves_short_relative_between_two_playings_does_not_end_the_run():
    clip = Clip().pair("D5", "D6", 40).pair("D4", "D6", 20, size=2400.0, length=0.5)
    clip.pair("D4", "D5", 20, length=0.4).pair("D5", "D6", 2)
    result = judged(clip)
    assert [run.playings for run in result.runs] == [(0, 3)]
    assert result.marks == ()


def test_a_pair_that_no_hand_holds_does_not_end_a_run():
    clip = Clip().pair("Bb3", "Bb4", 40).pair("Bb3", "F5", 9).pair("Bb3", "Bb4", 2)
    assert [run.playings for run in judged(clip).runs] == [(0, 2)]


def test_another_octave_held_for_long_is_a_run_of_its_own():
    clip = Clip().pair("D5", "D6", 40).pair("D4", "D5", 20).pair("D5", "D6", 2)
    assert len(judged(clip).runs) == 3


def test_a_note_of_two_runs_goes_to_the_one_it_prepares():
    clip = Clip().pair("C4", "E4", 0).note("E4", -13).note("G4", 2).pair("E4", "G4", 0)
    assert [run.broken for run in judged(clip).runs] == [(), (1, 2)]


def test_a_playing_far_off_is_named_for_what_the_others_are():
    clip = Clip().pair("Bb3", "Bb4", 58).pair("Bb3", "Bb4", 40).pair("Bb3", "Bb4", 20)
    result = judged(clip)
    assert [row.short for row in result.intervals] == ["P8", "P8", "P8"]
    assert result.intervals[0].deviation_cents == pytest.approx(58)
    assert [mark.params["first_cents"] for mark in result.marks] == [pytest.approx(58)]


def test_the_drills_interval_names_a_lonely_playing_far_off():
    clip = Clip().pair("Bb3", "Bb4", 58)
    assert judged(clip).intervals[0].short == "m9"
    [row] = judged(clip, Policy(interval="P8")).intervals
    assert (row.short, row.deviation_cents) == ("P8", pytest.approx(58))


def test_the_key_decides_between_two_sizes():
    # A major sixth 38 cents narrow is nearer to the minor one: 846.4 of 813.7 and 884.4 cents.
    clip = Clip().pair("Bb4", "Gb5", 32.7)
    assert judged(clip).intervals[0].short == "m6"
    [row] = judged(clip, Policy(key="Bb major")).intervals
    assert (row.short, row.high_pitch) == ("M6", "G5")
    assert row.deviation_cents == pytest.approx(-38.0, abs=0.1)


@pytest.mark.parametrize("off", [5.0, 22.0])
def test_a_note_outside_the_key_that_is_clearly_played_stays_what_it_is(off):
    clip = Clip().pair("Bb4", "Gb5", off)
    assert judged(clip, Policy(key="Bb major")).intervals[0].short == "m6"


def test_a_single_playing_says_how_it_landed():
    [run] = judged(Clip().pair("Bb3", "Bb4", 18, landing=39.7)).runs
    assert (run.first_cents, run.trend) == (pytest.approx(39.7), "better")


# Doubt


def test_octave_that_may_be_one_note_is_unsure_unless_the_drill_asks_for_it():
    clip = Clip().pair("Bb3", "Bb4", 2, doubt="octave_or_single")
    [row] = judged(clip).intervals
    assert (row.verdict, row.unsure_reason) == ("unsure", "octave_or_single")
    assert judged(clip, Policy(interval="P8")).intervals[0].verdict == "in_tune"


def test_last_playing_that_may_be_a_true_octave_takes_the_mark_away():
    together = Clip().pair("Bb3", "Bb4", 30).pair("Bb3", "Bb4", 1, doubt="octave_or_single")
    assert judged(together).marks == ()
    alone = Clip().pair("Bb3", "Bb4", 30)
    alone.note("Bb3", doubt="octave_or_single", other=("Bb3", "Bb4"))
    result = judged(alone)
    assert result.marks == ()
    assert result.runs[0].playings == (0, 1)


@pytest.mark.parametrize("off", [28, 5])
def test_last_playing_that_was_held_and_could_not_be_measured_takes_the_mark_away(off):
    clip = Clip().pair("Bb3", "Bb4", 30).pair("Bb3", "Bb4", off, reason="not_separable")
    assert judged(clip).marks == ()


def test_last_playing_too_short_to_settle_leaves_the_one_before():
    clip = Clip().pair("Bb3", "Bb4", 30).pair("Bb3", "Bb4", 28, uncertainty=None, length=0.25)
    assert [mark.events for mark in judged(clip).marks] == [(0,)]


def test_doubtful_notes_are_not_marked():
    result = judged(Clip().pair("Bb3", "Bb4", 30, confidence=0.4))
    assert [row.unsure_reason for row in result.intervals] == ["doubtful_notes"]
    assert result.marks == ()


def test_notes_that_a_hand_cannot_hold_are_doubtful():
    # A flat 3 and E flat 5 with both stopped: more likely a ringing note than a twelfth.
    result = judged(Clip().pair("Ab3", "Eb5", -40))
    assert [row.unsure_reason for row in result.intervals] == ["doubtful_notes"]
    assert result.marks == ()


def test_a_playing_too_short_to_settle_is_not_judged():
    clip = Clip().pair("Bb3", "Bb4", 30, length=0.25)
    assert [row.unsure_reason for row in judged(clip).intervals] == ["too_short"]
    assert judged(clip).marks == ()


# Severity


@pytest.mark.parametrize(("off", "severity"), [(18, 1), (29.9, 1), (31, 2), (-46, 3)])
def test_severity_grows_with_multiples_of_the_tolerance(off, severity):
    assert judged(Clip().pair("Bb3", "Bb4", off)).marks[0].severity == severity


# Which note moves


def move(clip, **kwargs):
    [mark] = judged(clip, **kwargs).marks
    return mark.voice, mark.params["move"], mark.params["open"], mark.params["maybe_open"]


def test_an_open_string_cannot_move():
    assert move(Clip().pair("G3", "E4", 30)) == (1, "upper", "G", [])
    assert move(Clip().pair("A3", "D4", 30)) == (0, "lower", "D", [])


def test_two_stopped_notes_may_both_move():
    assert move(Clip().pair("Bb3", "Bb4", 30)) == (None, "either", None, [])


def test_a_note_that_may_be_open_is_said_to_be_so():
    assert move(Clip().pair("D4", "B4", 30)) == (None, "either", None, ["D"])


def test_vibrato_or_another_pitch_shows_that_a_note_is_stopped():
    assert move(Clip().pair("D4", "B4", 30, vibrato=True)) == (None, "either", None, [])
    assert move(Clip().string("D4", 0.0).pair("D4", "B4", 30, low_off=12.0)) == (
        None,
        "either",
        None,
        [],
    )


def test_fingering_of_the_score_says_what_is_open():
    score = [ExpectedNote(pitches=("D4", "B4"), fingers=(0, 1))]
    assert move(Clip().pair("D4", "B4", 30), score=score)[:2] == (1, "upper")
    score = [ExpectedNote(pitches=("D4", "B4"), fingers=(4, 1))]
    assert move(Clip().pair("D4", "B4", 30), score=score)[:2] == (None, "either")


@pytest.mark.parametrize("source", ["open_strings", "given", "notes"])
def test_the_note_that_is_off_the_clips_own_tuning_is_advised_in_an_octave(source):
    def advised(low_off):
        return move(Clip(source=source).pair("Bb3", "Bb4", 30, low_off=low_off))[:2]

    assert advised(0.0) == (None, "upper")
    assert advised(-30.0) == (None, "lower")
    assert advised(-15.0) == (None, "either")


def test_a_sixth_has_no_such_advice():
    # Its just size differs from equal temperament by more than the notes' own freedom.
    assert move(Clip(source="given").pair("Eb4", "C5", 30))[:2] == (None, "either")


# Open strings and single lines


def test_a_mistuned_open_string_is_said_first():
    clip = Clip(source="given").pair("Bb3", "Bb4", 30).pair("A3", "D4", 0).string("D4", -14.0)
    clip.note("D4", -14.0)
    marks = judged(clip).marks
    assert [mark.code for mark in marks] == ["open_string_off", "interval_wide"]
    assert [mark.id for mark in marks] == [0, 1]
    assert marks[0].start_s == 2.0
    assert marks[0].severity == 2


@pytest.mark.parametrize("off", [-5.9, 3.9, 6.5])
def test_strings_tuned_in_pure_fifths_are_not_marked(off):
    # Pure fifths from A put the viola's C 5.9 cents below equal temperament (arithmetic).
    assert judged(Clip().note("G3", off).string("G3", off)).marks == ()


def test_single_notes_are_judged_only_where_the_policy_asks():
    clip = Clip().note("E4", 22).note("F#4", 0).note("G4", -9)
    assert judged(clip).singles == ()
    result = judged(clip, Policy(judge_singles=True))
    assert [row.verdict for row in result.singles] == ["out", "in_tune", "near"]
    assert [mark.code for mark in result.marks] == ["single_sharp"]


def test_a_single_notes_mark_says_the_doubt_it_was_judged_with():
    # 0.5 cents of the note and 0.5 of the reference.
    [mark] = judged(Clip().note("E4", 22), Policy(judge_singles=True)).marks
    assert mark.params["uncertainty_cents"] == pytest.approx(0.5 * 2**0.5)


def test_pythagorean_lines_are_judged_by_pure_fifths_from_a():
    policy = Policy(judge_singles=True, melodic_tuning="pythagorean", key="A major")
    [e, csharp] = judged(Clip().note("E4").note("C#5"), policy).singles
    # Arithmetic: E is one pure fifth from A (+2.0 c), C sharp four (+7.8 c).
    assert e.deviation_cents == pytest.approx(-1.955, abs=0.01)
    assert csharp.deviation_cents == pytest.approx(-7.820, abs=0.01)


def test_a_repeated_single_note_is_marked_once():
    clip = Clip().note("E4", 30).note("E4", 25).note("E4", 22)
    marks = judged(clip, Policy(judge_singles=True)).marks
    assert [mark.events for mark in marks] == [(2,)]


# Spelling and speed


def test_a_key_spells_what_was_heard():
    [row] = judged(Clip().pair("G#3", "G#4", 0), Policy(key="Eb major")).intervals
    assert (row.low_pitch, row.high_pitch) == ("Ab3", "Ab4")


def test_the_clips_own_key_spells_where_the_policy_names_none():
    clip = replace(Clip().pair("G#3", "G#4", 0).done(), key="Eb major")
    assert judge(clip, Policy()).intervals[0].low_pitch == "Ab3"
    assert judge(clip, Policy(key="E major")).intervals[0].low_pitch == "G#3"


def test_judging_changes_nothing_and_repeats_itself():
    clip = Clip().pair("Bb3", "Bb4", 30).done()
    before = clip.to_dict()
    assert judge(clip, Policy()) == judge(clip, Policy())
    assert clip.to_dict() == before


def test_an_empty_measurement_has_an_empty_judgement():
    result = judged(Clip())
    assert (result.intervals, result.runs, result.marks) == ((), (), ())


def test_an_octave_is_not_marked_when_its_lower_note_is_then_held_as_if_alone():
    """It may have been the octave in tune, which hides its upper note."""
    assert judged(Clip().pair("D4", "D5", -30).note("D4")).marks == ()
    assert len(judged(Clip().pair("D4", "D5", -30).note("E4")).marks) == 1
    assert len(judged(Clip().pair("D4", "B4", -30).note("D4")).marks) == 1

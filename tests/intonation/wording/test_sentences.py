"""What people read."""

import pytest

from studio.intonation import Policy, judge, render, unsure_sentence
from studio.intonation.model.judgement import MARK_CODES, REMARK_CODES
from studio.intonation.wording.sentences import UNSURE_REASONS
from tests.intonation.heard import Clip


def sentence(clip, policy=None):
    [mark] = judge(clip.done(), policy or Policy()).marks
    return mark.sentence


def test_a_run_is_told_from_its_first_to_its_last_playing():
    clip = Clip(source="open_strings").silence(10.0)
    clip.pair("Bb3", "Bb4", 40).pair("Bb3", "Bb4", 30).pair("Bb3", "Bb4", 18)
    assert sentence(clip) == (
        "Octave B♭3–B♭4 at 0:12, third playing: 18 ± 1 cents wide; it was 40 at first. "
        "The lower note agrees with the rest of the clip, so bring the upper one a little "
        "lower, towards the scroll."
    )


def test_two_stopped_notes_are_both_named():
    assert sentence(Clip().pair("Eb4", "C5", -22)) == (
        "Major sixth E♭4–C5 at 0:00: 22 ± 1 cents narrow. "
        "Bring the upper note a little higher, towards the bridge, or the lower one a little "
        "lower, towards the scroll."
    )


def test_an_open_string_is_named():
    assert sentence(Clip().pair("G3", "E4", 34)) == (
        "Major sixth G3–E4 at 0:00: 34 ± 1 cents wide. "
        "The lower note is the open G, so bring the upper one lower, towards the scroll."
    )


def test_a_string_that_may_be_open_is_named_as_such():
    assert sentence(Clip().pair("D4", "B4", 20)).endswith(
        "or the lower one a little higher, towards the bridge. "
        "If the D is the open string, only the other note can move."
    )


def test_a_landing_is_told_where_there_is_one_playing():
    assert "18 ± 1 cents wide; it landed 40 wide." in sentence(
        Clip().pair("Bb3", "Bb4", 18, landing=39.7)
    )
    assert "18 ± 1 cents wide; it landed 12 narrow." in sentence(
        Clip().pair("Bb3", "Bb4", 18, landing=-12)
    )


def test_crossing_over_and_staying_put_are_told():
    crossed = Clip().pair("Bb3", "Bb4", -30).pair("Bb3", "Bb4", 20)
    assert "20 ± 1 cents wide; it was 30 narrow at first." in sentence(crossed)
    same = Clip().pair("Bb3", "Bb4", 21).pair("Bb3", "Bb4", 20)
    assert "20 ± 1 cents wide; much as it was at first." in sentence(same)


def test_a_first_playing_is_not_held_against_itself():
    clip = Clip().pair("Bb3", "Bb4", 30).pair("Bb3", "Bb4", 28, uncertainty=None, length=0.25)
    assert "first playing: 30 ± 1 cents wide. Bring" in sentence(clip)


def test_an_uncertainty_is_rounded_up_so_that_nothing_looks_surer_than_it_is():
    assert "30 ± 2 cents wide." in sentence(Clip().pair("Bb3", "Bb4", 30, uncertainty=1.4))
    assert "30 ± 1 cents wide." in sentence(Clip().pair("Bb3", "Bb4", 30, uncertainty=0.1))


def test_a_unison_is_apart():
    assert sentence(Clip().pair("D4", "D4", 22)) == (
        "Unison D4–D4 at 0:00: 22 ± 1 cents apart. Bring the two notes together: the upper one "
        "a little lower, towards the scroll, or the lower one a little higher, towards the bridge. "
        "If one of them is the open D, only the other can move."
    )


def test_an_open_string_off_is_told():
    assert render("open_string_off", {"pitch": "D4", "deviation_cents": -14.2}) == (
        "The open D string is 14 cents flat. Tune it first: every note beside it follows it."
    )


def test_a_single_note_is_told():
    params = {"pitch": "F#4", "deviation_cents": 22.0, "at_s": 12.3}
    assert render("single_sharp", params) == "F♯4 at 0:12: 22 cents sharp. Bring it a little lower."


def test_little_is_said_where_little_is_known():
    params = {"interval": "P8", "deviation_cents": 18.0, "uncertainty_cents": 0.6}
    assert render("interval_wide", params) == (
        "Octave: 18 ± 1 cents wide. Bring the upper note a little lower, towards the scroll, or "
        "the lower one a little higher, towards the bridge."
    )


def test_every_code_has_a_sentence_and_an_unknown_one_is_refused():
    params = {
        "interval": "P8",
        "pitch": "A4",
        "deviation_cents": 20.0,
        "moved_cents": 12.0,
        "which": "upper",
        "first_cents": 30.0,
        "change_cents": -10.0,
        "trend": "better",
        "playings": 2,
        "playing": 2,
        "held_s": 0.4,
        "least_hold_s": 1.0,
    }
    for code in (*MARK_CODES, *REMARK_CODES):
        assert render(code, params).endswith(".")
        assert "!" not in render(code, params)
    with pytest.raises(ValueError, match="no sentence for code 'loud'"):
        render("loud", params)


# (code, parameters, sentence). Parameters left out are simply not said.
OFF = {"interval": "P8", "deviation_cents": 18.0, "uncertainty_cents": 0.6}
FOURTH = {"which": "upper", "finger": 4, "string": "D", "move_mm": 2.27, "uncertainty_mm": 0.14}
FIRST = {"which": "lower", "finger": 1, "string": "G", "move_mm": 3.04, "uncertainty_mm": 0.18}
SAID = [
    # An interval with the drill's fingering
    (
        "interval_wide",
        {**OFF, "bar": 3, "at_s": 12.4, "moves": [FIRST, FOURTH]},
        "Octave in bar 3 at 0:12: 18 ± 1 cents wide. The fourth finger on the D string can move "
        "about 2 mm towards the scroll, or the first finger on the G string about 3 mm towards "
        "the bridge.",
    ),
    (
        "interval_narrow",
        {**OFF, "deviation_cents": -18.4, "moves": [FIRST, FOURTH]},
        "Octave: 18 ± 1 cents narrow. The fourth finger on the D string can move about 2 mm "
        "towards the bridge, or the first finger on the G string about 3 mm towards the scroll.",
    ),
    (
        "interval_wide",
        {
            **OFF,
            "interval": "M6",
            "move": "upper",
            "because": "open",
            "open": "D",
            "moves": [{**FOURTH, "finger": 1, "string": "A"}],
        },
        "Major sixth: 18 ± 1 cents wide. The lower note is the open D, so the first finger on the "
        "A string can move about 2 mm towards the scroll.",
    ),
    (
        "interval_wide",
        {**OFF, "moves": [{"which": "upper", "finger": 4}, {"which": "lower", "finger": 1}]},
        "Octave: 18 ± 1 cents wide. The fourth finger can move a little towards the scroll, or the "
        "first finger a little towards the bridge.",
    ),
    (
        "interval_wide",
        {
            **OFF,
            "interval": "P5",
            "one_finger": True,
            "moves": [FIRST, {**FOURTH, "finger": 1, "move_mm": 3.04, "uncertainty_mm": 0.2}],
        },
        "Fifth: 18 ± 1 cents wide. The first finger lies across both strings: turn it about "
        "3 mm towards the scroll on the D string, or about 3 mm towards the bridge on the G "
        "string.",
    ),
    (
        "interval_narrow",
        {
            **OFF,
            "interval": "P5",
            "deviation_cents": -18.0,
            "one_finger": True,
            "moves": [{"which": "lower", "finger": 1}, {"which": "upper", "finger": 1}],
        },
        "Fifth: 18 ± 1 cents narrow. The first finger lies across both strings: turn it a little, "
        "towards the bridge on the upper string or towards the scroll on the lower.",
    ),
    # An interval without a fingering
    (
        "interval_narrow",
        {**OFF, "deviation_cents": -40.0},
        "Octave: 40 ± 1 cents narrow. Bring the upper note higher, towards the bridge, or the "
        "lower one lower, towards the scroll.",
    ),
    (
        "interval_wide",
        {**OFF, "move": "lower", "because": "alone"},
        "Octave: 18 ± 1 cents wide. The upper note was true by itself and stayed, so bring the "
        "lower one a little higher, towards the bridge.",
    ),
    (
        "interval_wide",
        {**OFF, "move": "upper", "because": "tuning"},
        "Octave: 18 ± 1 cents wide. The lower note agrees with the rest of the clip, so bring the "
        "upper one a little lower, towards the scroll.",
    ),
    (
        "interval_wide",
        {
            **OFF,
            "move": "lower",
            "because": "slipped",
            "slipped_cents": -15.2,
            "slipped_uncertainty_cents": 0.8,
        },
        "Octave: 18 ± 1 cents wide. Played separately the two notes agreed; together the lower one "
        "went 15 ± 1 cents lower. Leave it where it was when you played it alone.",
    ),
    (
        "interval_wide",
        {
            **OFF,
            "move": "lower",
            "because": "slipped",
            "slipped_cents": -15.2,
            "slipped_uncertainty_cents": 0.8,
            "moves": [FIRST],
        },
        "Octave: 18 ± 1 cents wide. Played separately the two notes agreed; together the first "
        "finger on the G string went 15 ± 1 cents lower. Leave it where it was when you played it "
        "alone, about 3 mm towards the bridge.",
    ),
    (
        "interval_wide",
        {**OFF, "move": "upper", "because": "open", "open": "D", "open_off_cents": -14.2},
        "Octave: 18 ± 1 cents wide. The lower note is the open D, which is itself 14 cents flat: "
        "tune it first, then play this again.",
    ),
    (
        "interval_wide",
        {**OFF, "first_cents": -0.3, "playings": 2, "playing": 2},
        "Octave, second playing: 18 ± 1 cents wide; it was true at first. Bring the upper note "
        "a little lower, towards the scroll, or the lower one a little higher, towards the bridge.",
    ),
    (
        "interval_wide",
        {**OFF, "first_cents": 0.2, "first": "landing"},
        "Octave: 18 ± 1 cents wide; it landed true. Bring the upper note a little lower, towards "
        "the scroll, or the lower one a little higher, towards the bridge.",
    ),
    # Open strings and single notes
    (
        "open_string_off",
        {"pitch": "G3", "deviation_cents": 12.0, "uncertainty_cents": 1.2},
        "The open G string is 12 ± 2 cents sharp. Tune it first: every note beside it follows it.",
    ),
    (
        "single_flat",
        {"pitch": "Bb4", "deviation_cents": -30.0, "uncertainty_cents": 1.0, "at_s": 61.0},
        "B♭4 at 1:01: 30 ± 1 cents flat. Bring it higher.",
    ),
    # The bow
    (
        "voice_dropout",
        {"which": "upper", "times": 1, "silent_s": 0.31, "at_s": 12.2},
        "The upper note fell silent at 0:12 for 0.3 s.",
    ),
    (
        "voice_dropout",
        {
            "which": "lower",
            "times": 2,
            "silent_s": 1.0,
            "at_s": 12.2,
            "held": True,
            "interval": "M6",
            "low": "Bb3",
            "high": "G4",
        },
        "The lower note of the major sixth B♭3–G4 fell silent at 0:12, 2 times, for 1 s in all. "
        "Keep the bow on both strings.",
    ),
    (
        "balance",
        {"which": "upper", "balance_db": 14.4, "uncertainty_db": 4.5},
        "The upper note was much softer than the lower one.",
    ),
    (
        "balance",
        {"which": "lower", "balance_db": 24.0, "uncertainty_db": 4.5, "held": True, "string": "G"},
        "The lower note was much softer than the upper one. Both are to be held: lean "
        "the bow more towards the G string.",
    ),
    # What is said of a run
    (
        "run_changed",
        {
            **OFF,
            "playings": 3,
            "first_cents": 40.0,
            "trend": "better",
            "change_cents": -22.0,
            "change_uncertainty_cents": 0.8,
        },
        "Over 3 playings it came closer by 22 ± 1 cents: 40 cents wide at first, 18 ± 1 cents wide "
        "at the end.",
    ),
    (
        "run_changed",
        {
            **OFF,
            "playings": 2,
            "first_cents": 1.2,
            "deviation_cents": -25.0,
            "trend": "worse",
            "change_cents": 23.8,
            "change_uncertainty_cents": 1.1,
        },
        "Over 2 playings it went further off by 24 ± 2 cents: 1 cent wide at first, 25 ± 1 cents "
        "narrow at the end.",
    ),
    (
        "run_changed",
        {**OFF, "playings": 2, "first_cents": 0.9, "deviation_cents": -0.4, "trend": "same"},
        "Over 2 playings it stayed much the same: 0 ± 1 cents off at the end.",
    ),
    (
        "note_moved",
        {"which": "lower", "moved_cents": -12.3, "uncertainty_cents": 0.7, "first": True},
        "The lower note went 12 ± 1 cents lower when the other note came to it.",
    ),
    (
        "note_moved",
        {
            "which": "lower",
            "moved_cents": -12.3,
            "uncertainty_cents": 0.7,
            "first": True,
            "finger": 1,
            "string": "G",
            "other_finger": 4,
        },
        "The first finger on the G string went 12 ± 1 cents lower when the fourth finger came "
        "down.",
    ),
    (
        "note_moved",
        {
            "which": "upper",
            "moved_cents": 9.0,
            "uncertainty_cents": 0.7,
            "first": True,
            "finger": 2,
            "other_finger": 0,
        },
        "The second finger went 9 ± 1 cents higher when the open string joined it.",
    ),
    (
        "note_moved",
        {"which": "upper", "moved_cents": 9.0, "uncertainty_cents": 0.7},
        "The upper note was 9 ± 1 cents higher together than alone.",
    ),
    (
        "hold_short",
        {"held_s": 0.62, "least_hold_s": 1.0},
        "The last playing was held for 0.6 s. With 1 s or more there is time to hear it settle.",
    ),
    (
        "hold_short",
        {"held_s": 1.04, "least_hold_s": 2.5, "asked": True},
        "The last playing was held for 1 s. The drill asks for 2.5 s.",
    ),
]


@pytest.mark.parametrize(("code", "params", "said"), SAID)
def test_each_code_says_what_its_parameters_say(code, params, said):
    assert render(code, params) == said


def test_the_table_of_sentences_covers_every_code():
    assert {code for code, _, _ in SAID} | {"single_sharp"} == {*MARK_CODES, *REMARK_CODES}


def test_no_figure_is_a_nought_with_a_sign_or_without_a_unit():
    for code, params, _ in SAID:
        said = render(code, params)
        assert "−0" not in said
        assert "-0" not in said
        assert " mm" in said or "move_mm" not in str(params)


def test_a_finger_a_string_and_millimetres_are_never_named_without_the_drill():
    bare = [render(code, params) for code, params, _ in SAID if "finger" not in str(params)]
    assert len(bare) > 10
    for said in bare:
        assert "finger" not in said
        assert "mm" not in said


def test_every_reason_is_a_sentence_without_an_exclamation_mark():
    for code in [*UNSURE_REASONS, "some_newer_reason"]:
        assert unsure_sentence(code).endswith(".")
        assert "!" not in unsure_sentence(code)

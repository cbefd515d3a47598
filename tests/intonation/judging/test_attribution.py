"""Which of two notes is said to move, and how far its finger has to go."""

import math

import pytest

from studio.intonation import ExpectedNote, Policy, judge
from studio.intonation.judging.attribution import Hand
from tests.intonation.heard import JUST, Clip

OCTAVE = ExpectedNote(
    pitches=("A3", "A4"), strings=(4, 3), fingers=(1, 4), ref="n1", bar=3, manner="together"
)


def params(clip, *score, policy=None):
    [mark] = judge(clip.done(), policy or Policy(), score or None).marks
    return mark.params


# The hand


def test_both_fingers_are_named_with_their_strings_and_millimetres():
    found = params(Clip().pair("A3", "A4", 18, uncertainty=0.6), OCTAVE)
    lower, upper = found["moves"]
    assert (lower["finger"], lower["string"]) == (1, "G")
    assert (upper["finger"], upper["string"]) == (4, "D")
    # d = cents * ln 2 * L * 2^(-n/12) / 1200 (a string's frequency is inverse to its length).
    for move, stop in ((lower, 2), (upper, 7)):
        each = math.log(2.0) * 328.0 * 2.0 ** (-stop / 12.0) / 1200.0
        assert move["move_mm"] == pytest.approx(18.0 * each)
        assert move["uncertainty_mm"] == pytest.approx(math.hypot(0.6 * each, 0.05 * 18.0 * each))
    assert found["bar"] == 3
    assert "finger" not in found  # which of the two is not known


def test_a_shorter_string_asks_for_a_shorter_way():
    full = params(Clip().pair("A3", "A4", 18), OCTAVE)["moves"]
    half = params(Clip(string_length_mm=285.0).pair("A3", "A4", 18), OCTAVE)["moves"]
    for long, short in zip(full, half, strict=True):
        assert short["move_mm"] / long["move_mm"] == pytest.approx(285.0 / 328.0)


def test_the_one_note_that_moves_has_its_finger_string_and_name_by_itself():
    score = ExpectedNote(pitches=("D4", "B4"), strings=(3, 2), fingers=(0, 1))
    found = params(Clip().pair("D4", "B4", 30), score)
    assert (found["move"], found["because"], found["open"]) == ("upper", "open", "D")
    assert (found["finger"], found["string"], found["note"]) == (1, "A", "B4")
    assert found["move_mm"] == pytest.approx(30.0 * 0.1688, abs=0.01)


@pytest.mark.parametrize(
    "score",
    [
        (),
        (ExpectedNote(pitches=("A3", "A4")),),
        (ExpectedNote(pitches=("A3", "A4"), strings=(4, 3)),),
    ],
    ids=["no drill", "no fingering", "strings only"],
)
def test_without_a_written_finger_no_finger_string_or_millimetre_is_named(score):
    clip = Clip().pair("A3", "A4", 18)
    found = params(clip, *score)
    assert not {"moves", "finger", "string", "move_mm"} & set(found)
    [mark] = judge(clip.done(), Policy(), score or None).marks
    assert "finger" not in mark.sentence
    assert "string" not in mark.sentence
    assert " mm" not in mark.sentence


def test_a_finger_without_its_string_has_no_millimetres():
    found = params(Clip().pair("A3", "A4", 18), ExpectedNote(pitches=("A3", "A4"), fingers=(1, 4)))
    assert [move["string"] for move in found["moves"]] == [None, None]
    assert all("move_mm" not in move for move in found["moves"])


def test_a_string_that_cannot_hold_the_note_is_not_believed():
    score = ExpectedNote(pitches=("A3", "A4"), strings=(3, 3), fingers=(1, 4))
    lower, upper = params(Clip().pair("A3", "A4", 18), score)["moves"]
    assert (lower["string"], upper["string"]) == (None, "D")


def test_one_finger_across_two_strings_is_told_to_turn():
    score = ExpectedNote(pitches=("E4", "B4"), strings=(3, 2), fingers=(1, 1))
    [mark] = judge(Clip().pair("E4", "B4", 20).done(), Policy(), [score]).marks
    assert mark.sentence.endswith(
        "The first finger lies across both strings: turn it about 3 mm towards the scroll on the "
        "A string, or about 3 mm towards the bridge on the D string."
    )


def test_an_open_string_has_no_distance():
    assert Hand(0, "D", 0).distance_mm(10.0, 0.5) is None
    assert Hand(2).distance_mm(10.0, 0.5) is None


def test_viola_strings_are_named():
    score = ExpectedNote(pitches=("D3", "D4"), strings=(4, 3), fingers=(1, 4))
    found = params(Clip(instrument="viola").pair("D3", "D4", 18), score)
    assert [move["string"] for move in found["moves"]] == ["C", "G"]


# Which note


def moved(clip, **kwargs):
    found = params(clip, **kwargs)
    return found["move"], found["because"]


def test_the_note_that_left_where_both_agreed_is_the_one_to_move():
    upper = Clip().note("Bb3").note("Bb4").pair("Bb3", "Bb4", 30)
    assert moved(upper) == ("upper", "slipped")
    lower = Clip().note("Bb3").note("Bb4").pair("Bb3", "Bb4", 30, low_off=-30)
    assert moved(lower) == ("lower", "slipped")


def test_a_sixth_tells_the_same_by_its_own_size():
    off = JUST[9] - 900.0
    clip = Clip().note("Eb4").note("C5", off).pair("Eb4", "C5", 24, low_off=-24)
    assert moved(clip) == ("lower", "slipped")


def test_where_both_notes_moved_a_little_either_may_move():
    clip = Clip().note("Bb3").note("Bb4").pair("Bb3", "Bb4", 30, low_off=-15)
    assert moved(clip) == ("either", None)


def test_separate_notes_that_did_not_agree_tell_nothing_of_a_slip():
    clip = Clip().note("Bb3").note("Bb4", 30).pair("Bb3", "Bb4", 30)
    assert moved(clip) == ("either", None)


def test_notes_of_the_playing_before_count_where_nothing_was_played_separately_since():
    clip = Clip().note("Bb3").note("Bb4").pair("Bb3", "Bb4", 45).pair("Bb3", "Bb4", 30)
    assert moved(clip) == ("upper", "slipped")


@pytest.mark.parametrize("note", ["Bb3", "Bb4"])
def test_one_note_true_by_itself_that_stayed_leaves_the_other(note):
    kept_low = note == "Bb3"
    clip = Clip(source="given").note(note)
    clip.pair("Bb3", "Bb4", 30, low_off=0.0 if kept_low else -30.0)
    assert moved(clip) == (("upper" if kept_low else "lower"), "alone")


def test_true_by_itself_needs_a_trusted_reference():
    assert moved(Clip(source="assumed").note("Bb3").pair("Bb3", "Bb4", 30)) == ("either", None)


def test_a_sixth_is_held_against_the_clip_only_where_no_reading_of_it_agrees():
    # Narrow by 30: the upper note is 46 cents flat of equal, beyond anything just or tempered.
    assert moved(Clip(source="given").pair("Eb4", "C5", -30)) == ("upper", "tuning")
    # Wide by 30: it is 14 cents sharp, which a melody might well ask for.
    assert moved(Clip(source="given").pair("Eb4", "C5", 30)) == ("either", None)


def test_a_mistuned_open_string_is_to_be_tuned_before_the_note_beside_it_moves():
    clip = Clip(source="given").string("D4", -24.0).note("D4", -24.0)
    clip.pair("A3", "D4", -26.0, low_off=0.0)
    first, second = judge(clip.done(), Policy()).marks
    assert (first.code, first.rank) == ("open_string_off", 1)
    assert second.params["open_off_cents"] == -24.0
    assert second.sentence.endswith(
        "The upper note is the open D, which is itself 24 cents flat: tune it first, then play "
        "this again."
    )

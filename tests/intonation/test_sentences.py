"""What people read."""

import pytest

from studio.intonation import Policy, judge, render, unsure_sentence
from studio.intonation.judgement import MARK_CODES
from studio.intonation.sentences import UNSURE_REASONS, clock, ordinal
from tests.intonation.heard import Clip


def sentence(clip, policy=None):
    [mark] = judge(clip.done(), policy or Policy()).marks
    return mark.sentence


def test_a_run_is_told_from_its_first_to_its_last_playing():
    clip = Clip(source="open_strings").silence(10.0)
    clip.pair("Bb3", "Bb4", 40).pair("Bb3", "Bb4", 30).pair("Bb3", "Bb4", 18)
    assert sentence(clip) == (
        "Octave B♭3–B♭4 at 0:12, third playing: 18 cents wide; it was 40 at first. "
        "Bring the upper note down a little."
    )


def test_two_stopped_notes_are_both_named():
    assert sentence(Clip().pair("Eb4", "C5", -22)) == (
        "Major sixth E♭4–C5 at 0:00: 22 cents narrow. "
        "Bring the upper note up or the lower one down a little."
    )


def test_an_open_string_is_named():
    assert sentence(Clip().pair("G3", "E4", 34)) == (
        "Major sixth G3–E4 at 0:00: 34 cents wide. "
        "The lower note is the open G, so bring the upper one down."
    )


def test_a_string_that_may_be_open_is_named_as_such():
    assert sentence(Clip().pair("D4", "B4", 20)).endswith(
        "Bring the upper note down or the lower one up a little. "
        "If the D is the open string, only the other note can move."
    )


def test_a_landing_is_told_where_there_is_one_playing():
    assert "18 cents wide; it landed 40 wide." in sentence(
        Clip().pair("Bb3", "Bb4", 18, landing=39.7)
    )
    assert "18 cents wide; it landed 12 narrow." in sentence(
        Clip().pair("Bb3", "Bb4", 18, landing=-12)
    )


def test_crossing_over_and_staying_put_are_told():
    crossed = Clip().pair("Bb3", "Bb4", -30).pair("Bb3", "Bb4", 20)
    assert "20 cents wide; it was 30 narrow at first." in sentence(crossed)
    same = Clip().pair("Bb3", "Bb4", 21).pair("Bb3", "Bb4", 20)
    assert "20 cents wide; much as it was at first." in sentence(same)


def test_a_first_playing_is_not_held_against_itself():
    clip = Clip().pair("Bb3", "Bb4", 30).pair("Bb3", "Bb4", 28, uncertainty=None)
    assert "first playing: 30 cents wide. Bring" in sentence(clip)


def test_an_uncertainty_of_a_cent_or_more_is_told():
    assert "30 cents wide, give or take 3." in sentence(
        Clip().pair("Bb3", "Bb4", 30, uncertainty=1.4)
    )
    assert "give or take" not in sentence(Clip().pair("Bb3", "Bb4", 30, uncertainty=0.4))


def test_a_unison_is_apart():
    assert sentence(Clip().pair("D4", "D4", 22)) == (
        "Unison D4–D4 at 0:00: 22 cents apart. Bring the two notes together."
    )


def test_an_open_string_off_is_told():
    assert render("open_string_off", {"pitch": "D4", "deviation_cents": -14.2}) == (
        "The open D string is 14 cents flat. Tune it first: every note beside it follows it."
    )


def test_a_single_note_is_told():
    params = {"pitch": "F#4", "deviation_cents": 22.0, "at_s": 12.3}
    assert render("single_sharp", params) == "F♯4 at 0:12: 22 cents sharp. Bring it down a little."


def test_little_is_said_where_little_is_known():
    params = {"interval": "P8", "deviation_cents": 18.0, "uncertainty_cents": 0.6}
    assert render("interval_wide", params) == (
        "Octave: 18 cents wide. Bring the upper note down or the lower one up a little."
    )


def test_every_code_has_a_sentence_and_an_unknown_one_is_refused():
    params = {"interval": "P8", "pitch": "A4", "deviation_cents": 20.0}
    for code in MARK_CODES:
        assert render(code, params).endswith(".")
    with pytest.raises(ValueError, match="no sentence for code 'loud'"):
        render("loud", params)


def test_every_reason_is_a_sentence_without_an_exclamation_mark():
    for code in [*UNSURE_REASONS, "some_newer_reason"]:
        assert unsure_sentence(code).endswith(".")
        assert "!" not in unsure_sentence(code)


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        (0, "0:00"),
        (12.4, "0:12"),
        (59.99, "1:00"),
        (119.7, "2:00"),
        (3720, "62:00"),
    ],
)
def test_moments_are_minutes_and_seconds(seconds, shown):
    assert clock(seconds) == shown


@pytest.mark.parametrize(
    ("number", "word"),
    [
        (1, "first"),
        (3, "third"),
        (11, "11th"),
        (12, "12th"),
        (22, "22nd"),
        (113, "113th"),
    ],
)
def test_playings_are_counted_in_words_then_in_figures(number, word):
    assert ordinal(number) == word

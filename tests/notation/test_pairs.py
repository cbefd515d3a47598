"""Double stops by name: their neighbours in a key, and the open strings to hear them against."""

import doctest

import pytest

from studio.notation import Infeasible, Request, beside, generate
from studio.notation import pairs as by_name
from studio.notation.beside import against_open_strings, row_around
from studio.notation.pairs import read_pairs, word_for
from studio.theory import ALL_KEYS, VIOLA, VIOLIN, Key, Pitch, interval_between


def pair(low: str, high: str) -> tuple[Pitch, Pitch]:
    return Pitch.parse(low), Pitch.parse(high)


def names(pairs) -> list[str]:
    return [f"{low}-{high}" for low, high in pairs]


def test_pairs_are_written_in_the_order_asked_separately_then_together():
    score = generate(
        Request(pattern="pairs", interval="sixths", key="C major", pairs=read_pairs("E4-C5, D4-B4"))
    )
    assert [item.manner for item in score.written] == ["separate", "separate", "together"] * 2
    assert [str(item.pitches[0]) for item in score.written[2::3]] == ["E4", "D4"]
    assert score.title == "C major: sixths on E4, D4"


def test_one_pair_is_called_by_its_notes():
    score = generate(Request(pattern="pairs", interval="sixths", pairs=(("Eb4", "C5"),)))
    assert score.title == "The major sixth E♭4–C5"


@pytest.mark.parametrize(
    ("pairs", "said"),
    [
        ((), "pairs 0 is outside 1 to 24"),
        ((("C4", "E4"),), "C4 with E4 is not one of octaves"),
        ((("C5", "C4"),), "C5 to C4 is not an interval upwards"),
        ((("C4", "H5"),), "'H5' is not a pitch name"),
    ],
)
def test_pairs_that_are_not_of_the_interval_are_refused(pairs, said):
    with pytest.raises(ValueError, match=said):
        Request(pattern="pairs", interval="octaves", pairs=pairs)


def test_what_was_asked_without_pairs_is_stored_as_before():
    assert "pairs" not in Request().to_dict()
    named = Request(pattern="pairs", pairs=(("G3", "G4"),))
    assert Request.from_dict(named.to_dict()) == named


def test_a_pair_without_any_place_says_so_and_offers_a_scale():
    asked = Request(pattern="pairs", interval="thirds", pairs=(("G3", "B3"),))
    with pytest.raises(Infeasible, match="G3 with B3 cannot be played") as caught:
        generate(asked)
    assert caught.value.nearest.pattern == "scale"


def test_neighbours_stay_in_the_key_and_come_back():
    found = row_around(*pair("Bb3", "G4"), Key.parse("Bb major"), 1)
    assert names(found) == ["A3-F4", "Bb3-G4", "C4-A4", "Bb3-G4"]


def test_a_double_stop_outside_the_key_stays_as_it_is():
    found = row_around(*pair("C#4", "A4"), Key.parse("C major"), 1)
    assert names(found) == ["B3-G4", "C#4-A4", "D4-B4", "C#4-A4"]


def test_in_minor_the_form_that_has_both_notes_is_taken():
    found = row_around(*pair("G#4", "E5"), Key.parse("A minor"), 1)
    assert names(found)[1] == "G#4-E5"
    assert all(low.pitch_class_name != "G" for low, _ in found)


@pytest.mark.parametrize("player", [VIOLIN, VIOLA], ids=["violin", "viola"])
def test_an_anchor_has_just_the_interval_one_open_string_and_both_notes_in_the_key(player):
    strings, seen = player.open_strings, 0
    for key in ALL_KEYS:
        for size in (3, 4, 7, 8, 9, 12, 16):
            low = key.spell(strings[1].midi + 3)
            high = key.spell(low.midi + size)
            for string, found in against_open_strings(low, high, key, strings):
                assert string in found
                assert interval_between(*found) == interval_between(low, high)
                assert all(key.contains(pitch) for pitch in found)
                seen += 1
    assert seen > 100


def test_words_for_intervals_are_those_of_drills():
    assert word_for((("C4", "E5"), ("D4", "F5"))) == "tenths"
    with pytest.raises(ValueError, match="All in one interval"):
        word_for((("C4", "D4"),))


@pytest.mark.parametrize("module", [beside, by_name], ids=["beside", "pairs"])
def test_docstring_examples_hold(module):
    assert doctest.testmod(module).failed == 0

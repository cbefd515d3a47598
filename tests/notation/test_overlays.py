"""Rhythm, slurs and strokes laid over a drill, on the page and read back."""

from fractions import Fraction

import pytest

from studio.notation import Request, Score, generate
from studio.notation.manners import RHYTHMS, SLURS
from studio.notation.musicxml import read_musicxml, to_musicxml

SCALE = {"interval": "thirds", "key": "D major", "manner": "together"}  # 15 double stops


def drill(**asked: object) -> Score:
    return generate(Request(**{**SCALE, **asked}))


def slurs(score: Score) -> list[int]:
    """How many are in each bow."""
    found = [1]
    for item in score.written[:-1]:
        if item.slurred:
            found[-1] += 1
        else:
            found.append(1)
    return found


def lengths(score: Score) -> list[str]:
    return [" ".join(str(item.beats) for item in bar) for bar in score.bars]


@pytest.mark.parametrize("slur", SLURS)
@pytest.mark.parametrize("rhythm", RHYTHMS)
def test_every_rhythm_with_every_slur_keeps_the_notes_and_is_read_back_the_same(slur, rhythm):
    score, plain = drill(slur=slur, rhythm=rhythm, first_bow="up", stroke="martele"), drill()
    assert [item.pitches for item in score.written] == [item.pitches for item in plain.written]
    assert [item.fingers for item in score.written] == [item.fingers for item in plain.written]
    assert read_musicxml(to_musicxml(score).encode()).score == score
    assert (score.written[0].bow, score.written[0].words) == ("up", "martelé")
    whole, left = divmod(15, slur)
    assert slurs(score) == [slur] * whole + [left] * (left > 0)


@pytest.mark.parametrize(
    ("rhythm", "bars"),
    [
        ("even", ["1 1 1 1"] * 3 + ["1 1 2"]),
        ("dotted", ["3/2 1/2 3/2 1/2"] * 3 + ["3/2 1/2 2"]),
        ("reverse_dotted", ["1/2 3/2 1/2 3/2"] * 3 + ["1/2 3/2 2"]),
        ("long_short_short", ["2 1 1"] * 5),
        ("short_short_long", ["1 1 2"] * 5),
    ],
)
def test_a_rhythm_makes_bars_of_four_quarters_and_the_last_note_fills_its_own(rhythm, bars):
    assert lengths(drill(rhythm=rhythm)) == bars


def test_without_an_overlay_a_drill_is_as_it_was():
    assert lengths(drill()) == ["2"] * 15
    assert slurs(drill()) == [1] * 15
    assert drill(first_bow="down").written[0].bow == "down"


def test_where_notes_come_in_turn_the_bars_stay_and_no_slur_leaves_its_bar():
    score = drill(manner="separately_then_together", slur=2, rhythm="dotted")
    assert lengths(score) == ["3/2 1/2 3/2"] * 15
    assert slurs(score) == [2, 1] * 15
    assert slurs(drill(manner="separately_then_together", slur=4)) == [3] * 15


def test_slurs_are_drawn_from_the_first_note_of_a_bow_to_its_last():
    text = to_musicxml(drill(slur=4))
    assert text.count('<slur type="start"') == text.count('<slur type="stop"') == 4
    assert Fraction(text.count("<note ")) == 30


def test_the_title_says_rhythm_and_slurs():
    assert drill(slur=4, rhythm="dotted").title.endswith(", dotted, slurred by 4")

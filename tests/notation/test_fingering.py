"""What a fingering costs: one finger across, the hand's place over open strings, limits, choices.

The fingerings expected are common practice, no source.
"""

import pytest

from studio.notation import Infeasible, Request, generate
from studio.notation.fingering import finger
from studio.notation.fingering_choices import fingering_choices
from studio.notation.request import FINGERINGS
from studio.theory import Pitch


def row(names: str, **asked: object) -> list[tuple[tuple[int, int], int | None]]:
    """Fingers and position of double stops such as ``E4+B4``."""
    pairs = [tuple(map(Pitch.parse, pair.split("+"))) for pair in names.split()]
    return [(way.fingers, way.position) for way in finger(pairs, Request(**asked))]


def test_the_fourth_finger_lies_across_two_strings_only_where_nothing_else_can():
    names = "C4+A4 D4+A4 C4+A4"  # a fifth between sixths that second position holds as well
    assert row(names, strings=(4, 3))[1] == ((3, 3), 2)
    assert row(names, strings=(4, 3), highest_position=1)[1] == ((4, 4), 1)


def test_a_small_hand_shifts_rather_than_lay_the_fourth_finger_across():
    names = "A3+F#4 D4+A4"
    assert row(names, strings=(4, 3), hand="large")[1] == ((4, 4), 1)
    assert row(names, strings=(4, 3), hand="small")[1][0] != (4, 4)


def test_the_hand_is_where_it_was_when_open_strings_have_sounded():
    """Over the open strings it costs what it costs without them: the same way back."""
    ways = row("D5+A5 D4+A4 D5+A5", strings=(3, 2))
    assert ways[0] == ways[2]
    far = row("E5+B5 D4+A4 E4+B4", strings=(3, 2))
    assert far[0][1] != far[2][1]


def test_no_hand_goes_higher_than_the_highest_position():
    for highest in (1, 3, 5):
        asked = Request(interval="thirds", octaves=2, highest_position=highest)
        try:
            score = generate(asked)
        except Infeasible as refused:
            score = generate(refused.nearest)
            highest = refused.nearest.highest_position
        places = [item.position for item in score.written if item.position is not None]
        assert max(places) <= highest


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        (
            {"interval": "thirds", "octaves": 2, "highest_position": 3},
            "Highest position 3 is too low for the second octave of G major in thirds",
        ),
        ({"octaves": 2, "strings": (4, 3)}, "The G and D strings alone are too few"),
        (
            {"pattern": "one_string", "octaves": 1, "highest_position": 3},
            "Highest position 3 is too low for one octave of G major on the D string.",
        ),
        ({"octaves": 3}, "Three octaves are more than the fingerboard has for G major in octaves"),
        (
            {"interval": "tenths", "strings": (2, 1), "octaves": 3},
            "and no single limit less would give them one.",
        ),
    ],
)
def test_a_refusal_names_the_limit_that_bites(asked, says):
    with pytest.raises(Infeasible) as refused:
        generate(Request(**asked))
    assert says in refused.value.reason
    assert generate(refused.value.nearest).written


@pytest.mark.parametrize(
    ("asked", "lowest"),
    [
        ({"key": "Bb major", "start": 0}, "G3"),  # the open string with the third finger
        ({"key": "Bb major", "start": 1}, "Bb3"),
        ({"key": "G major", "interval": "thirds", "start": 0}, "B3"),
        ({"key": "E minor", "interval": "sixths", "start": 0}, "G3"),
        ({"key": "D major", "interval": "thirds", "start": 5}, "A4"),
    ],
)
def test_a_scale_begins_on_the_lowest_that_lies_well_or_where_it_is_asked_to(asked, lowest):
    score = generate(Request(manner="together", **asked))
    assert str(score.written[0].pitches[0]) == lowest


def test_fingerings_to_choose_from_differ_and_keep_what_they_promise():
    asked = Request(key="A major", interval="octaves", octaves=2, manner="together", start=1)
    found = {choice.word: choice for choice in fingering_choices(asked)}
    assert len(found) >= 2
    assert set(found) <= set(FINGERINGS)
    usual = found["usual"]
    assert all(choice.shifts >= found.get("few_shifts", usual).shifts for choice in found.values())
    scores = {word: generate(asked.but(fingering=word)) for word in found}
    held = {word: [item.fingers for item in score.written] for word, score in scores.items()}
    assert len({str(fingers) for fingers in held.values()}) >= 2

"""The position of the hand at the staff: where a page begins, and where the hand has moved."""

import re
from itertools import pairwise

import pytest
from hypothesis import given, settings

from studio.drills.sheets import leaves
from studio.notation import Request, Score, Written, generate
from studio.notation.engraving import engrave
from studio.notation.musicxml import to_musicxml
from studio.theory import Pitch
from tests.notation.written_pages import drill, requests

WORDS = re.compile(r">((?:half|\d+(?:st|nd|rd|th)) pos\.)<")


def said(score: Score) -> list[str]:
    return WORDS.findall(to_musicxml(score))


@given(requests)
@settings(max_examples=40)
def test_a_drill_says_its_position_at_its_first_note(request):
    score = drill(request)
    before, _, after = to_musicxml(score).partition("<note")
    places = [item.position for item in score.written if item.position is not None]
    assert WORDS.findall(before) == [written_as(place) for place in places[:1]]
    assert WORDS.findall(after) == [written_as(place) for place in moves(score)]


def moves(score: Score) -> list[int]:
    """Every other position in turn, open strings between them left out."""
    places = [item.position for item in score.written if item.position is not None]
    return [after for before, after in pairwise(places) if before != after]


def written_as(position: int) -> str:
    names = {0: "half", 1: "1st", 2: "2nd", 3: "3rd"}
    return f"{names.get(position, f'{position}th')} pos."


def test_it_is_drawn_at_the_first_note():
    score = generate(Request(key="B minor", interval="unisons", instrument="viola", start=1))
    assert score.written[0].position == 2
    (page,) = engrave(score)
    assert "2nd pos." in WORDS.findall(page)[0]


def page(*items: tuple[str, str, int | None]) -> Score:
    """Notes with their fingers and position."""
    written = [
        Written(
            id=f"n{number}",
            pitches=tuple(Pitch.parse(name) for name in names.split("+")),
            fingers=tuple(int(finger) if finger != "-" else None for finger in fingers),
            bar=number,
            position=position,
        )
        for number, (names, fingers, position) in enumerate(items, 1)
    ]
    return Score(title="Hand", instrument="violin", written=tuple(written))


def test_it_stands_at_an_open_string_that_the_page_begins_with():
    score = page(("D4+A4", "00", None), ("A4+C5", "41", 3), ("B4+D5", "41", 4))
    document = to_musicxml(score)
    assert said(score) == ["3rd pos.", "4th pos."]
    assert document.index("3rd pos.") < document.index("<note")


@pytest.mark.parametrize(
    ("places", "words"),
    [
        ((1, 1, 2, 2, 1), ["1st pos.", "2nd pos.", "1st pos."]),
        ((0, 1), ["half pos.", "1st pos."]),
        ((1, None, 3), ["1st pos.", "3rd pos."]),
        ((3, None, 3), ["3rd pos."]),
    ],
)
def test_it_stands_where_the_hand_has_moved_across_an_open_string_too(places, words):
    notes = [("A4", "0" if place is None else "1", place) for place in places]
    assert said(page(*notes)) == words


def test_a_page_without_fingers_says_nothing_of_a_position_that_is_written_later():
    """The hand is somewhere, nobody knows where, until a finger is written."""
    score = page(("A4", "-", None), ("C5", "1", 3))
    document = to_musicxml(score)
    assert document.index("3rd pos.") > document.index("<note")


def test_each_leaf_of_a_long_drill_says_where_the_hand_is():
    score = generate(Request(key="A major", interval="sixths", octaves=2))
    for leaf in leaves(score, 12):
        first = leaf.written[0]
        words = WORDS.findall(to_musicxml(leaf).partition("<note")[0])
        if first.position is not None:
            assert words == [written_as(first.position)]

"""Strings and fingers in a table: what is kept, what is refused, what follows."""

import pytest

from studio.drills.fingers import read_rows, rows_of
from studio.notation import Infeasible, Request, generate
from studio.notation.manners import MANNERS
from studio.notation.request import INTERVALS, PATTERNS
from studio.theory.keys import ALL_KEYS

OCTAVES = generate(Request(key="G major", interval="octaves"))


def posted(score, **changes: str) -> dict[str, str]:
    """The table as it stands, with some fields changed (``n6_0`` for ``n6-0``)."""
    data = {}
    for row in rows_of(score):
        for cell in row.cells:
            data |= {cell.string_name: cell.string, cell.finger_name: cell.finger}
        data |= {row.hold_name: row.hold, row.playings_name: row.playings}
    assert data
    return data | {name.replace("_", "-"): value for name, value in changes.items()}


def read(score, **changes: str):
    return read_rows(score, score, posted(score, **changes))


@pytest.mark.parametrize("interval", INTERVALS)
@pytest.mark.parametrize("instrument", ["violin", "viola"])
def test_a_table_that_nobody_changed_leaves_the_page_as_it_is(interval, instrument):
    tried = 0
    for key in ALL_KEYS[::3]:
        for octaves in (1, 2):
            try:
                score = generate(
                    Request(key=str(key), interval=interval, instrument=instrument, octaves=octaves)
                )
            except Infeasible:
                continue
            tried += 1
            assert read(score).score == score
    assert tried >= 8


@pytest.mark.parametrize("manner", MANNERS)
@pytest.mark.parametrize("pattern", [name for name in PATTERNS if name != "pairs"])
def test_so_it_does_for_every_pattern_played_in_any_order_and_rhythm(pattern, manner):
    asked = Request(pattern=pattern, manner=manner, rhythm="dotted", slur=4)
    score = generate(asked)
    assert read(score).score == score


def test_the_separate_notes_follow_their_double_stop():
    # A3 and A4 (bar 2) with the second finger and an extended fourth.
    changed = read(OCTAVES, f_n6_0="2").score
    assert [item.fingers for item in changed.bars[1]] == [(2,), (4,), (2, 4)]


def test_another_string_moves_the_hand_and_says_so():
    # D4 and D5 (bar 5) on the G and D strings: D is the fourth letter above G.
    changed = read(OCTAVES, s_n15_0="4", f_n15_0="1", s_n15_1="3", f_n15_1="4").score
    together = changed.find("n15")
    assert (together.strings, together.position) == ((4, 3), 4)
    assert changed.bars[4][0].shift
    assert not any(item.shift for item in changed.bars[4][1:])


def test_hold_and_playings_are_kept():
    changed = read(OCTAVES, h_n6="2,5", p_n6="4").score.find("n6")
    assert (changed.hold_s, changed.playings) == (2.5, 4)


def test_a_string_may_be_left_open():
    assert read(OCTAVES, s_n6_0="", f_n6_0="").score.find("n6").strings == (None, 3)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"s_n6_0": "3"}, "A3 is below the open D string; choose a lower one."),
        ({"f_n3_0": "1"}, "G3 on the G string is the open string: its finger is 0."),
        ({"f_n6_0": "0"}, "A3 on the G string is stopped: it needs a finger from 1 to 4."),
        ({"s_n9_1": "4"}, "B3 and B4 together, perfect octave needs a string for each note."),
        ({"s_n6_1": "2", "f_n6_1": "0"}, "not neighbours, so one bow cannot hold them"),
        ({"f_n6_1": "1"}, "the first finger cannot hold both notes"),
        ({"f_n6_0": "2", "f_n6_1": "1"}, "the fingers are crossed"),
        ({"f_n6_0": "5"}, "the finger '5' is not a number from 0 to 4"),
        ({"f_n6_0": "4"}, "A3 on the G string is too near the nut for the fourth finger."),
        ({"h_n6": "long"}, "a hold of 'long' is no number of seconds"),
        ({"h_n6": "90"}, "a hold of 90 seconds is outside 0.2 to 60"),
        ({"p_n6": "13"}, "the number of times '13' is not a number from 1 to 12"),
    ],
)
def test_what_contradicts_itself_is_refused_by_its_bar(changes, sentence):
    reading = read(OCTAVES, **changes)
    ((ref, said),) = reading.errors.items()
    assert said.startswith(f"Bar {OCTAVES.find(ref).bar}: ")
    assert sentence in said
    assert reading.score == OCTAVES

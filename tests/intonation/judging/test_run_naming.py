"""What a run was meant to be, where its playings lie between two names.

Just sizes: minor sixth 813.7, major sixth 884.4 cents (Ellis, in Helmholtz 1885, App. XX).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.intonation import Policy, judge
from tests.intonation.heard import Clip

MINOR, MAJOR = 813.686, 884.359


def sixths(*sizes: float, clip: Clip | None = None) -> Clip:
    """Playings over D4 of these sizes in cents; the upper note is named as the nearest one."""
    clip = clip or Clip()
    for size in sizes:
        clip.pair("D4", "Bb4", size - MINOR)
    return clip


def judged(clip: Clip, policy: Policy | None = None):
    return judge(clip.done(), policy or Policy())


def test_who_repeats_mends_so_a_run_is_what_it_moves_to():
    towards = judged(sixths(843.0, 846.0, 854.5))
    assert {row.short for row in towards.intervals} == {"M6"}
    assert [mark.code for mark in towards.marks] == ["interval_narrow"]
    back = judged(sixths(854.5, 846.0, 843.0))
    assert {row.short for row in back.intervals} == {"m6"}
    assert [mark.code for mark in back.marks] == ["interval_wide"]


def test_notes_played_separately_tell_what_was_meant():
    clip = Clip().note("D4").note("B4", -16.0)
    [row] = judged(sixths(850.0, clip=clip)).intervals
    assert (row.short, row.verdict) == ("M6", "out")


def test_a_note_that_sounded_clearly_elsewhere_is_likelier():
    clip = Clip().note("D4").note("B5").silence(1.0).note("G4")
    [row] = judged(sixths(849.0, clip=clip)).intervals
    assert (row.short, row.verdict) == ("M6", "out")


def test_what_nothing_tells_is_left_open_and_not_marked():
    result = judged(sixths(849.0))
    [row] = result.intervals
    assert (row.verdict, row.unsure_reason) == ("unsure", "between_sizes")
    assert result.marks == ()


@pytest.mark.parametrize(("key", "short"), [("D major", "M6"), ("G minor", "m6")])
def test_a_key_that_is_told_decides(key, short):
    [row] = judged(sixths(849.0), Policy(key=key)).intervals
    assert (row.short, row.verdict) == (short, "out")


def test_a_drill_that_asks_decides_alone():
    [row] = judged(sixths(843.0), Policy(interval="M6")).intervals
    assert (row.short, row.verdict) == ("M6", "out")


@given(st.lists(st.floats(MINOR - 20.0, MINOR + 20.0), min_size=1, max_size=4))
def test_what_is_clear_is_named_for_what_it_is(sizes):
    rows = judged(sixths(*sizes)).intervals
    assert {row.short for row in rows} == {"m6"}
    assert "between_sizes" not in {row.unsure_reason for row in rows}


@pytest.mark.parametrize("partial", ["D6", "A5", "F#6", "A6"])
def test_a_short_partial_of_the_runs_note_does_not_end_the_run(partial):
    """The fourth, third, fifth and sixth partials of D4, which a listener may take for the note."""
    clip = sixths(780.0)
    clip.note(partial, -14.0 if partial == "F#6" else 0.0, length=0.3)
    result = judged(sixths(790.0, clip=clip))
    assert [run.playings for run in result.runs] == [(0, 2)]
    assert [mark.events for mark in result.marks] == [(2,)]


def test_a_held_note_a_twelfth_above_ends_the_run():
    clip = sixths(780.0).note("A5", length=1.0)
    assert len(judged(sixths(790.0, clip=clip)).runs) == 2


def test_a_note_that_was_begun_and_broken_off_does_not_end_the_run():
    clip = sixths(780.0).note("C4", length=0.25)
    assert [run.playings for run in judged(sixths(790.0, clip=clip)).runs] == [(0, 2)]
    held = sixths(780.0).note("C4", length=0.4)
    assert len(judged(sixths(790.0, clip=held)).runs) == 2

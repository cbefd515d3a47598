"""A place that is pinned to a bar is followed in that bar, and the rest from there."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.intonation import ExpectedNote, Pin, Policy, judge
from studio.intonation.alignment import follow
from studio.intonation.alignment.pins import UnusablePin, held_by, usable
from tests.benchmarks.practising.drills import drill, expected_notes
from tests.benchmarks.practising.symbolic import heard
from tests.benchmarks.practising.walk import walk
from tests.intonation.heard import Clip

FIGURE = [("G3", "G4"), ("A3", "A4")]
# Bars 2 and 3 are 5 and 6 once more, as verses are.
VERSES = [
    *[ExpectedNote(pitches=pair, ref=f"a{n}", bar=1 + n) for n, pair in enumerate(FIGURE)],
    ExpectedNote(pitches=("C4", "C5"), ref="c", bar=3),
    *[ExpectedNote(pitches=pair, ref=f"b{n}", bar=4 + n) for n, pair in enumerate(FIGURE)],
    ExpectedNote(pitches=("D4", "D5"), ref="d", bar=6),
]


def refs(clip, *pins):
    return [row.ref for row in follow(clip.done(), VERSES, pins).events]


def verse():
    """The figure alone: nothing tells which of the two it is. Events at 0 s and at 1 s."""
    return Clip().pair("G3", "G4").pair("A3", "A4")


def test_of_two_like_passages_the_pinned_one_is_followed():
    assert refs(verse()) == ["a0", "a1"]  # from the beginning, as far as anybody can tell
    assert refs(verse(), Pin(0.0, 0.9, 4)) == ["b0", "b1"]


def test_two_pins_turn_the_order_round():
    clip = verse().pair("G3", "G4").pair("A3", "A4")
    assert refs(clip) == ["a0", "a1", "b0", "b1"]
    assert refs(clip, Pin(0.0, 0.9, 4), Pin(2.0, 2.9, 1)) == ["b0", "b1", "a0", "a1"]


def test_what_is_judged_hangs_on_the_pinned_bar():
    clip = Clip().pair("G3", "G4", 40).pair("A3", "A4")
    found = judge(clip.done(), Policy(), VERSES, pins=[Pin(0.0, 0.9, 4)])
    assert [row.score_ref for row in found.intervals] == ["b0", "b1"]
    assert {n.ref for n in found.following.notes if n.state == "played"} == {"b0", "b1"}


def test_something_else_in_a_pinned_bar_is_a_wrong_note_of_it():
    found = follow(Clip().pair("F4", "F5").done(), VERSES, [Pin(0.0, 0.9, 6)])
    assert (found.events[0].state, found.events[0].ref) == ("wrong", "d")


def test_what_can_be_no_note_of_its_bar_is_extra_there_and_the_next_goes_on_from_it():
    score = [ExpectedNote(pitches=(name,), bar=n) for n, name in enumerate(["E4", "G4", "E4"], 1)]
    clip = Clip().pair("A4", "B4").note("E4")
    rows = follow(clip.done(), score, [Pin(0.0, 0.9, 2)]).events
    assert [(row.state, row.note) for row in rows] == [("extra", None), ("whole", 2)]


def test_a_slip_put_right_stays_in_its_pinned_bar():
    clip = Clip().pair("G3", "G4").pair("C4", "C5").pair("C#4", "C#5").pair("D4", "D5")
    pinned = follow(clip.done(), VERSES, [Pin(2.0, 2.9, 3)]).events[2]
    assert pinned.note is not None
    assert VERSES[pinned.note].bar == 3


@pytest.mark.parametrize(
    ("pins", "why"),
    [
        ([Pin(0.0, 0.9, 4), Pin(0.1, 0.8, 1)], "pinned to bar 4 and to bar 1"),
        ([Pin(0.0, 0.9, 9)], "no bar 9; pin a bar from 1 to 6"),
        ([Pin(5.0, 6.0, 4)], "nothing is heard from 0:05.00 to 0:06.00"),
    ],
)
def test_pins_that_no_path_can_go_through_are_refused(pins, why):
    with pytest.raises(UnusablePin, match=why):
        follow(verse().done(), VERSES, pins)
    kept = usable(pins, verse().done().events, VERSES)
    follow(verse().done(), VERSES, kept)
    assert len(kept) == len(pins) - 1


def test_a_pin_needs_a_length():
    with pytest.raises(ValueError, match="has no length"):
        Pin(2.0, 2.0, 1)


def test_a_place_cut_in_two_or_run_together_is_held_all_the_same():
    pin = Pin(1.0, 1.9, 5)
    halves = Clip().note("G3").note("A3", length=0.45, each=0.45).note("A3", length=0.45)
    assert held_by(pin, halves.done().events) == [1, 2]
    assert held_by(pin, Clip().note("A3", length=1.9).done().events) == [0]
    assert held_by(pin, Clip().note("A3").silence(1.0).note("A3").done().events) == []


@settings(max_examples=20)
@given(seed=st.integers(0, 10_000), place=st.floats(0.0, 1.0), bar=st.floats(0.0, 1.0))
def test_whatever_is_played_a_pinned_event_is_in_its_bar(seed, place, bar):
    rng = np.random.default_rng(seed)
    notes = expected_notes(drill(rng))
    measurement = heard(walk(notes, rng), rng)
    event = measurement.events[int(place * (len(measurement.events) - 1))]
    bars = sorted({note.bar for note in notes})
    pin = Pin(event.start_s, event.end_s, bars[int(bar * (len(bars) - 1))])
    row = next(r for r in follow(measurement, notes, [pin]).events if r.event == event.id)
    assert row.note is None or notes[row.note].bar == pin.bar
    if len(event.voices) <= min(len(note.pitches) for note in notes if note.bar == pin.bar):
        assert row.note is not None


def test_a_pin_on_what_the_path_says_anyway_changes_nothing():
    rng = np.random.default_rng(8)
    notes = expected_notes(drill(rng))
    measurement = heard(walk(notes, rng), rng)
    plain = follow(measurement, notes)
    events = {event.id: event for event in measurement.events}
    sure = [row for row in plain.events if row.state == "whole"][::3]
    pins = [
        Pin(events[row.event].start_s, events[row.event].end_s, notes[row.note].bar) for row in sure
    ]
    assert len(pins) > 3
    pinned = follow(measurement, notes, pins)
    assert (pinned.events, pinned.notes, pinned.pins) == (plain.events, plain.notes, tuple(pins))

"""Fingers, positions and stretches of double stops.

The relations between stops and fingers, and the worked fingerings: common practice, no source.
Millimetres are arithmetic from string lengths (Mersenne's law).
"""

import pytest

from studio.theory import VIOLIN, Pitch
from studio.theory.fingers import (
    Grip,
    difficulty,
    extension_semitones,
    fingers_apart,
    grips,
    is_wide,
    stretch_mm,
)

G, D, A, E = VIOLIN.open_strings


@pytest.mark.parametrize(
    ("interval", "apart_in_stops", "apart_in_fingers"),
    [
        ("unison", -7, -3),
        ("major third", -3, -2),
        ("minor third", -4, -2),
        ("fourth", -2, -1),
        ("tritone", -1, -1),
        ("fifth", 0, 0),
        ("minor sixth", 1, 1),
        ("major sixth", 2, 1),
        ("minor seventh", 3, 2),
        ("major seventh", 4, 2),
        ("octave", 5, 3),
        ("ninth", 7, 3),
        ("major tenth", 9, 3),
    ],
)
def test_fingers_lie_apart_as_the_interval_asks(interval, apart_in_stops, apart_in_fingers):
    assert fingers_apart(9, 9 + apart_in_stops) == apart_in_fingers


def test_beyond_a_tenth_no_hand_reaches():
    assert fingers_apart(1, 11) is None


@pytest.mark.parametrize(
    ("low", "high", "strings", "grip"),
    [
        ("A3", "A4", (G, D), Grip(1, 4, 1)),  # the octave frame in first position
        ("B3", "B4", (G, D), Grip(1, 4, 2)),
        ("G3", "G4", (G, D), Grip(0, 3, 1)),  # the third finger against the open string
        ("A3", "F#4", (G, D), Grip(1, 2, 1)),  # a major sixth: neighbouring fingers
        ("C5", "E5", (A, E), Grip(2, 0, 1)),
        ("D5", "F#5", (A, E), Grip(3, 1, 1)),  # a major third: third and first finger
        ("A3", "E4", (G, D), Grip(1, 1, 1)),  # one finger across two strings
        ("A3", "C#5", (G, D), Grip(1, 4, 1)),  # a tenth: first and fourth, extended
        ("D4", "D4", (G, D), Grip(4, 0, 1)),  # a unison with an open string
        ("G3", "D4", (G, D), Grip(0, 0, None)),
    ],
)
def test_double_stops_are_fingered_as_players_do(low, high, strings, grip):
    assert grip in grips(Pitch.parse(low), Pitch.parse(high), *strings)


def test_a_note_below_the_string_has_no_grip():
    assert grips(Pitch.parse("F3"), Pitch.parse("A4"), G, D) == ()


def test_two_notes_too_far_apart_have_no_grip():
    assert grips(Pitch.parse("A3"), Pitch.parse("F#5"), G, D) == ()


def test_every_grip_stands_its_fingers_in_order_within_reach():
    for low in range(G.midi, G.midi + 20):
        for high in range(D.midi, D.midi + 20):
            for grip in grips(_sharp(low), _sharp(high), G, D):
                stops = low - G.midi, high - D.midi
                assert (grip.low_finger == 0) == (stops[0] == 0)
                assert (grip.high_finger == 0) == (stops[1] == 0)
                if all(stops):
                    # The finger further from the nut is never the smaller one.
                    further = (stops[1] > stops[0]) - (stops[1] < stops[0])
                    fingers = grip.high_finger - grip.low_finger
                    assert fingers * further >= 0
                    assert (fingers == 0) == (stops[0] == stops[1])


def _sharp(midi: int) -> Pitch:
    names = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"]
    return Pitch.parse(f"{names[midi % 12]}{midi // 12 - 1}")


def test_an_octave_in_first_position_spans_73_mm_on_a_full_size_violin():
    # 328 * (2^(-2/12) - 2^(-7/12)) by hand: 292.21 - 218.91.
    assert stretch_mm(2, 7, 328.0) == pytest.approx(73.3, abs=0.05)
    assert extension_semitones(2, 7) == 0


def test_a_tenth_near_the_nut_is_wide_for_any_hand_but_an_octave_high_up_is_not():
    assert all(is_wide(2, 11, 328.0, hand) for hand in ("small", "medium", "large"))
    assert not is_wide(9, 14, 328.0, "small")
    with pytest.raises(ValueError, match="small, medium, large"):
        is_wide(2, 7, 328.0, "huge")


def test_with_an_open_string_nothing_is_stretched():
    assert stretch_mm(0, 9, 328.0) == 0.0
    assert extension_semitones(0, 9) == 0


def test_wider_and_higher_double_stops_are_harder():
    sixth, octave, tenth = difficulty(2, 4, 1), difficulty(2, 7, 1), difficulty(2, 11, 1)
    assert difficulty(0, 0, None) < difficulty(0, 2, 1) < sixth < octave < tenth
    assert difficulty(9, 11, 5) > difficulty(2, 4, 1)

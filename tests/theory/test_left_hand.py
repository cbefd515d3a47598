"""Strings, stops and places.

Positions follow from f being inversely proportional to string length (Mersenne's law; Fletcher &
Rossing, *The Physics of Musical Instruments*). The numbers are arithmetic from it. Which double
stops can be held, and how: common practice, no source.
"""

import pytest

from studio.theory import (
    VIOLA,
    VIOLIN,
    cents_per_mm,
    instrument_named,
    is_playable,
    mm_per_cent,
    openness,
    places,
    placings,
    require_string_length,
    span_mm,
    stop_position_mm,
    string_number,
)


def test_octave_lies_at_half_the_string():
    assert stop_position_mm(12, 328.0) == pytest.approx(164.0)
    assert stop_position_mm(0, 328.0) == 0.0


def test_one_cent_is_0_169_mm_at_e4_on_d_and_0_126_mm_at_e5_on_a():
    assert mm_per_cent(2, 328.0) == pytest.approx(0.169, abs=0.0005)
    assert mm_per_cent(7, 328.0) == pytest.approx(0.126, abs=0.0005)


@pytest.mark.parametrize("semitones", [0, 2, 7, 16])
def test_moving_by_a_small_distance_changes_pitch_as_stated(semitones):
    # A second derivation: move the stop by a hundredth of a millimetre and compare frequencies.
    step_cents = cents_per_mm(semitones, 328.0) * 0.01
    moved = stop_position_mm(semitones + step_cents / 100.0, 328.0)
    assert moved - stop_position_mm(semitones, 328.0) == pytest.approx(0.01, rel=1e-4)


def test_span_of_an_octave_frame_is_symmetric():
    assert span_mm(3, 8, 328.0) == span_mm(8, 3, 328.0)
    assert span_mm(3, 8, 328.0) == pytest.approx(69.18, abs=0.05)


def test_stop_below_the_open_string_is_refused():
    with pytest.raises(ValueError, match="-1 semitones"):
        stop_position_mm(-1, 328.0)


def test_instruments_have_their_strings_from_low_to_high():
    assert [str(pitch) for pitch in VIOLIN.open_strings] == ["G3", "D4", "A4", "E5"]
    assert [str(pitch) for pitch in VIOLA.open_strings] == ["C3", "G3", "D4", "A4"]
    with pytest.raises(ValueError, match=r"'cello'.*violin or viola"):
        instrument_named("cello")


def test_implausible_string_lengths_are_refused():
    with pytest.raises(ValueError, match=r"32\.8 mm is outside 150 to 450 mm"):
        require_string_length(32.8)


def test_players_number_strings_from_the_highest():
    assert [string_number(i, VIOLIN.open_strings) for i in range(4)] == [4, 3, 2, 1]


def test_d4_may_be_open_or_stopped_but_g3_has_one_place():
    assert places(62, VIOLIN.open_strings) == [(0, 7), (1, 0)]
    assert places(55, VIOLIN.open_strings) == [(0, 0)]
    assert places(54, VIOLIN.open_strings) == []


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (55, 67, ("open", "stopped")),  # G3 G4: nothing lies below the open G
        (57, 62, ("stopped", "open")),  # A3 D4: the G string is taken
        (58, 70, ("stopped", "stopped")),  # B flat octave
        (62, 74, ("maybe", "stopped")),  # D4 D5: open D and third finger, or high on G and D
        (62, 69, ("maybe", "maybe")),  # two open strings, or one finger across
    ],
)
def test_open_strings_are_certain_only_where_no_other_place_is_left(low, high, expected):
    assert openness(low, high, VIOLIN.open_strings) == expected


def test_notes_are_placed_on_neighbouring_strings_within_reach():
    for way in placings(62, 74, VIOLIN.open_strings):
        assert abs(way.low_string - way.high_string) == 1
        assert way.low_stop == 0 or way.high_stop == 0 or abs(way.low_stop - way.high_stop) <= 10


@pytest.mark.parametrize(
    ("low", "high", "playable"),
    [
        (56, 75, False),  # A flat 3 and E flat 5, a twelfth with both stopped: out of reach
        (55, 74, True),  # G3 open and D5 high on the D string
        (57, 73, True),  # a tenth
        (53, 60, True),  # below the violin: not this instrument's to refuse
        (62, 62, True),  # a unison: open D and fourth finger on G
        (55, 57, False),  # both on the G string
    ],
)
def test_what_a_hand_cannot_hold_is_known(low, high, playable):
    assert is_playable(low, high, VIOLIN.open_strings) is playable


def test_pairs_below_the_instrument_have_no_place():
    assert placings(50, 57, VIOLIN.open_strings) == ()
    assert len(placings(50, 57, VIOLA.open_strings)) > 0

"""Names and sizes of intervals.

Source of the just sizes: Ellis, in Helmholtz, *On the Sensations of Tone*, 2nd English ed. 1885,
App. XX, recomputed from the ratios. Pythagorean and syntonic commas: same place.
"""

import pytest

from studio.theory import (
    Interval,
    Pitch,
    beat_hz,
    has_agreed_target,
    interval_between,
    interval_of_semitones,
    is_perfect,
    just_ratio,
    size_cents,
    target_cents,
)

ELLIS = {
    "P1": 0.0,
    "m2": 111.731,
    "M2": 203.910,
    "m3": 315.641,
    "M3": 386.314,
    "P4": 498.045,
    "A4": 590.224,
    "P5": 701.955,
    "m6": 813.686,
    "M6": 884.359,
    "m7": 1017.596,
    "M7": 1088.269,
    "P8": 1200.0,
    "m10": 1515.641,
    "M10": 1586.314,
}


@pytest.mark.parametrize(("short", "cents"), ELLIS.items())
def test_just_sizes_are_those_of_ellis(short, cents):
    assert size_cents(Interval.parse(short), "just") == pytest.approx(cents, abs=0.0006)


def test_diminished_fifth_is_64_to_45():
    assert size_cents(Interval.parse("d5"), "just") == pytest.approx(609.776, abs=0.0006)


def test_twelve_pure_fifths_pass_seven_octaves_by_the_pythagorean_comma():
    fifth = size_cents(Interval.parse("P5"), "pythagorean")
    assert 12 * fifth - 7 * 1200 == pytest.approx(23.460, abs=0.0006)


def test_pythagorean_sixth_is_a_syntonic_comma_wider_than_the_just_one():
    sixth = Interval.parse("M6")
    pythagorean = size_cents(sixth, "pythagorean")
    assert pythagorean == pytest.approx(905.865, abs=0.0006)
    assert pythagorean - size_cents(sixth, "just") == pytest.approx(21.506, abs=0.0006)


def test_pythagorean_tritones_depend_on_spelling():
    assert size_cents(Interval.parse("A4"), "pythagorean") == pytest.approx(611.730, abs=0.001)
    assert size_cents(Interval.parse("d5"), "pythagorean") == pytest.approx(588.270, abs=0.001)
    assert size_cents(Interval.parse("TT"), "pythagorean") is None


def test_equal_sizes_are_whole_semitones():
    for semitones in range(37):
        assert size_cents(interval_of_semitones(semitones), "equal") == 100.0 * semitones


def test_an_octave_adds_1200_cents_in_every_tuning():
    for tuning in ("just", "pythagorean", "equal"):
        for short, wider in [("m3", "m10"), ("P5", "P12"), ("M2", "M9"), ("P8", "P15")]:
            low = size_cents(Interval.parse(short), tuning)
            assert size_cents(Interval.parse(wider), tuning) == pytest.approx(low + 1200.0)


@pytest.mark.parametrize(
    ("low", "high", "short", "name"),
    [
        ("Bb3", "Bb4", "P8", "perfect octave"),
        ("Eb4", "C5", "M6", "major sixth"),
        ("D4", "F4", "m3", "minor third"),
        ("F4", "B4", "A4", "augmented fourth"),
        ("B3", "F4", "d5", "diminished fifth"),
        ("G3", "B4", "M10", "major tenth"),
        ("F4", "G#4", "A2", "augmented second"),
        ("D4", "D4", "P1", "perfect unison"),
        ("G3", "G#4", "A8", "augmented octave"),
    ],
)
def test_spelled_pitches_name_their_interval(low, high, short, name):
    interval = interval_between(Pitch.parse(low), Pitch.parse(high))
    assert (interval.short, interval.name) == (short, name)
    assert interval.semitones == Pitch.parse(high).midi - Pitch.parse(low).midi


def test_six_semitones_without_a_spelling_are_a_tritone():
    assert interval_of_semitones(6).name == "tritone"
    assert interval_of_semitones(18).short == "TT+8"
    assert interval_of_semitones(18).name == "octave and a tritone"


def test_short_names_read_back():
    for semitones in range(49):
        interval = interval_of_semitones(semitones)
        assert Interval.parse(interval.short) == interval
        assert interval.semitones == semitones


@pytest.mark.parametrize("short", ["", "8", "P3", "M5", "p8", "M99", "TT+9"])
def test_impossible_intervals_are_refused(short):
    with pytest.raises(ValueError, match=r"interval|cannot have quality|outside"):
        Interval.parse(short)


def test_downward_pairs_are_refused():
    with pytest.raises(ValueError, match="not an interval upwards"):
        interval_between(Pitch.parse("B4"), Pitch.parse("B3"))


@pytest.mark.parametrize("short", ["m2", "M2", "TT", "A4", "d5", "m7", "M7", "m9", "M9", "TT+8"])
@pytest.mark.parametrize("tuning", ["just", "pythagorean", "equal"])
def test_sizes_without_an_agreed_target_have_none_unless_spelled(short, tuning):
    interval = Interval.parse(short)
    assert target_cents(interval, tuning) is None
    if interval.quality != "TT":
        assert target_cents(interval, tuning, spelled=True) == size_cents(interval, tuning)


def test_consonances_have_a_target_without_a_spelling():
    for short in ("P1", "m3", "M3", "P4", "P5", "m6", "M6", "P8", "m10", "M10", "P12", "P15"):
        assert target_cents(Interval.parse(short), "just") == size_cents(
            Interval.parse(short), "just"
        )
        assert has_agreed_target(Interval.parse(short))


def test_perfect_intervals_are_those_of_the_strict_tolerance():
    perfect = {i.short for i in map(interval_of_semitones, range(25)) if is_perfect(i)}
    assert perfect == {"P1", "P4", "P5", "P8", "P11", "P12", "P15"}


def test_unknown_tuning_is_refused_with_the_choices():
    with pytest.raises(ValueError, match=r"'meantone'.*just, pythagorean, equal"):
        size_cents(Interval.parse("P5"), "meantone")


def test_octave_5_cents_wide_beats_at_1_3_hz_on_b_flat():
    # Arithmetic: 2 * 233.08 * (2^(5/1200) - 1) = 1.35.
    low = Pitch.parse("Bb3").frequency()
    high = 2.0 * low * 2.0 ** (5.0 / 1200.0)
    assert beat_hz(low, high, Interval.parse("P8")) == pytest.approx(1.35, abs=0.005)


def test_twelfth_and_tenth_have_ratios_in_lowest_terms():
    assert just_ratio(Interval.parse("P12")) == (3, 1)
    assert just_ratio(Interval.parse("M10")) == (5, 2)
    assert just_ratio(Interval.parse("m10")) == (12, 5)


def test_dissonances_are_not_said_to_beat():
    assert beat_hz(293.66, 415.3, Interval.parse("TT")) is None

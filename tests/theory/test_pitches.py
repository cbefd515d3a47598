"""Pitch names, MIDI numbers and frequencies.

Sources: ISO 16:1975 (A4 = 440 Hz); MIDI 1.0 specification and MIDI Tuning Standard
(f = 440 * 2^((m - 69) / 12), note 60 is middle C); Ellis, in Helmholtz, *On the Sensations of
Tone*, 2nd English ed. 1885, App. XX (cents).
"""

import pytest

from studio.theory import Pitch, cents_between, frequency_of_midi, midi_of_frequency
from studio.theory.pitches import spellings


def test_a4_is_440_hz_as_in_iso_16():
    assert Pitch.parse("A4").frequency() == 440.0


@pytest.mark.parametrize(
    ("name", "hz"),
    # The open strings of violin and viola in equal temperament, by the MIDI Tuning Standard.
    [("C3", 130.813), ("G3", 195.998), ("D4", 293.665), ("A4", 440.000), ("E5", 659.255)],
)
def test_open_strings_have_the_frequencies_of_the_tuning_standard(name, hz):
    assert Pitch.parse(name).frequency() == pytest.approx(hz, abs=0.0005)


@pytest.mark.parametrize(
    ("name", "midi"),
    [("C4", 60), ("A4", 69), ("B3", 59), ("Cb4", 59), ("B#3", 60), ("F##3", 55), ("Ebb5", 74)],
)
def test_names_have_their_midi_numbers(name, midi):
    assert Pitch.parse(name).midi == midi


@pytest.mark.parametrize(
    ("text", "name"), [("B♭3", "Bb3"), ("f#5", "F#5"), ("Fx4", "F##4"), (" G3 ", "G3")]
)
def test_names_are_read_in_print_and_in_plain_letters(text, name):
    assert str(Pitch.parse(text)) == name


@pytest.mark.parametrize("text", ["", "H4", "B", "Bbbb4", "4B", "A", "C#b4"])
def test_what_is_not_a_pitch_is_refused_with_an_example(text):
    with pytest.raises(ValueError, match="Bb4"):
        Pitch.parse(text)


def test_octave_belongs_to_the_letter():
    assert Pitch.parse("Cb4").diatonic == Pitch.parse("C4").diatonic
    assert Pitch.parse("B#3").diatonic == Pitch.parse("B3").diatonic


def test_every_spelling_sounds_the_same():
    for midi in range(36, 100):
        assert {pitch.midi for pitch in spellings(midi)} == {midi}
        assert len(spellings(midi)) in (2, 3)


def test_midi_and_frequency_are_inverse():
    for midi in (55.0, 60.25, 69.0, 103.5):
        assert midi_of_frequency(frequency_of_midi(midi, 442.0), 442.0) == pytest.approx(midi)


def test_cents_follow_ellis():
    # Ellis, App. XX: the fifth 3:2 has 702 cents, the octave 1200, the major third 386.
    assert cents_between(200.0, 300.0) == pytest.approx(701.955, abs=0.0005)
    assert cents_between(300.0, 200.0) == pytest.approx(-701.955, abs=0.0005)
    assert cents_between(440.0, 550.0) == pytest.approx(386.314, abs=0.0005)


def test_frequencies_must_be_above_zero():
    with pytest.raises(ValueError, match="above 0 Hz, not 0"):
        cents_between(0, 440)
    with pytest.raises(ValueError, match="above 0 Hz"):
        midi_of_frequency(-1.0)

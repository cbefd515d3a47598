"""The likeliest key of what was heard. Keys and their scales: common practice, no source."""

import pytest

from studio.theory import ALL_KEYS, Key, Pitch, likely_key


def scale_of(key):
    """An octave of the key's scale from its tonic, the tonic longer."""
    heard = {}
    for number, name in enumerate((*key.scale, key.scale[0])):
        midi = 60 + Pitch.parse(f"{name}4").midi % 12
        heard[midi] = heard.get(midi, 0.0) + (2.0 if number in (0, 7) else 1.0)
    return heard


@pytest.mark.parametrize("key", [key for key in ALL_KEYS if key.mode == "major"], ids=str)
def test_a_major_scale_is_in_its_key(key):
    assert likely_key(scale_of(key)) == key


@pytest.mark.parametrize("key", ALL_KEYS, ids=str)
def test_the_scale_of_a_key_is_spelled_as_in_it(key):
    found = likely_key(scale_of(key))
    assert found is not None
    heard = {midi % 12 for midi in scale_of(key)}
    spelled = {found.spell(60 + note).pitch_class_name for note in heard}
    assert spelled == set(key.scale)


def test_a_harmonic_minor_scale_is_in_its_minor_key():
    heard = {57: 2.0, 59: 1.0, 60: 1.0, 62: 1.0, 64: 1.5, 65: 1.0, 68: 1.0, 69: 2.0}
    assert likely_key(heard) == Key.parse("A minor")


def test_too_few_notes_have_no_key():
    assert likely_key({58: 2.0, 70: 2.0, 60: 1.0, 72: 1.0}) is None
    assert likely_key({}) is None


def test_a_chromatic_scale_has_no_key():
    assert likely_key(dict.fromkeys(range(60, 72), 1.0)) is None

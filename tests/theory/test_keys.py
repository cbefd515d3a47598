"""Keys and spelling. Key signatures and scales: common practice, no source."""

import pytest

from studio.theory import ALL_KEYS, Interval, Key, Pitch, spell, spell_pair


def test_there_are_24_keys_with_at_most_six_signs():
    assert len(set(ALL_KEYS)) == 24
    assert all(abs(key.signature) <= 6 for key in ALL_KEYS)
    tonics = {(Pitch.parse(f"{key.tonic}4").midi % 12, key.mode) for key in ALL_KEYS}
    assert len(tonics) == 24


@pytest.mark.parametrize(
    ("name", "scale"),
    [
        ("Bb major", "Bb C D Eb F G A"),
        ("E major", "E F# G# A B C# D#"),
        ("G minor", "G A Bb C D Eb F"),
        ("F# minor", "F# G# A B C# D E"),
        ("Db major", "Db Eb F Gb Ab Bb C"),
    ],
)
def test_scales_are_spelled(name, scale):
    assert Key.parse(name).scale == tuple(scale.split())


@pytest.mark.parametrize("key", ALL_KEYS, ids=str)
def test_scale_notes_are_spelled_as_in_the_scale_and_sound_once(key):
    spelled = [key.spell(midi) for midi in range(60, 72)]
    assert [pitch.midi for pitch in spelled] == list(range(60, 72))
    names = {pitch.pitch_class_name for pitch in spelled}
    assert len(names) == 12
    assert set(key.scale) <= names


@pytest.mark.parametrize("key", ALL_KEYS, ids=str)
def test_relative_keys_share_their_notes(key):
    assert set(key.relative.scale) == set(key.scale)
    assert key.relative.relative == key


def test_leading_note_of_a_minor_key_is_raised():
    assert str(Key.parse("A minor").spell(68)) == "G#4"
    assert str(Key.parse("G minor").spell(66)) == "F#4"
    assert Key.parse("A minor").contains(Pitch.parse("G#4"))
    assert not Key.parse("A minor").contains(Pitch.parse("Ab4"))


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("Bb", "Bb major"),
        ("b", "B major"),
        ("bb minor", "Bb minor"),
        ("F#m", "F# minor"),
        ("E flat major", "Eb major"),
        ("c-sharp minor", "C# minor"),
        ("B♭ major", "Bb major"),
    ],
)
def test_key_names_are_read(text, key):
    assert str(Key.parse(text)) == key


@pytest.mark.parametrize("text", ["", "H major", "Bb dorian", "G# major", "Fb minor"])
def test_keys_that_do_not_exist_are_refused(text):
    with pytest.raises(ValueError, match=r"is not a key|would need"):
        Key.parse(text)


def test_without_a_key_flats_are_b_and_e_and_sharps_f_c_and_g():
    names = [spell(midi).pitch_class_name for midi in range(60, 72)]
    assert names == ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"]


@pytest.mark.parametrize(
    ("low", "high", "names", "short"),
    [
        (61, 65, "Db4 F4", "M3"),
        (60, 68, "C4 Ab4", "m6"),
        (58, 70, "Bb3 Bb4", "P8"),
        (61, 64, "C#4 E4", "m3"),
        (63, 72, "Eb4 C5", "M6"),
        (65, 71, "F4 B4", "TT"),
    ],
)
def test_pairs_without_a_key_read_as_their_usual_interval(low, high, names, short):
    a, b, interval = spell_pair(low, high)
    assert (f"{a} {b}", interval.short) == (names, short)


def test_every_pair_keeps_its_sound_and_avoids_double_signs():
    for low in range(55, 80):
        for size in range(25):
            a, b, interval = spell_pair(low, low + size)
            assert (a.midi, b.midi, interval.semitones) == (low, low + size, size)
            assert abs(a.alter) < 2
            assert abs(b.alter) < 2


def test_key_tells_augmented_fourth_from_diminished_fifth():
    assert spell_pair(63, 69, Key.parse("Bb major"))[2] == Interval("A", 4)
    assert spell_pair(57, 63, Key.parse("Bb major"))[2] == Interval("d", 5)

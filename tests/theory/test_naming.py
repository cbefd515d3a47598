"""Notes, keys and positions by the reader's language.

German: B natural is H and B flat is B, a minor key's tonic is small; the Romance languages name
notes by do, re, mi. Source: common practice, as in Grove Music Online, "Pitch nomenclature".
"""

import pytest

from studio.management.commands.makemessages import collected
from studio.notation import Request
from studio.theory import Key, Pitch, naming
from studio.theory.fingers import position_name

GERMAN = {
    ("note name", "B"): "H",
    ("note name", "B♭"): "B",
    ("note name", "F♯"): "Fis",
    ("key", "%(tonic)s major"): "%(tonic)s-Dur",
    ("key", "%(tonic)s minor"): "%(small)s-Moll",
    ("key", "%(tonic)s harmonic minor"): "%(small)s-Moll harmonisch",
    ("left hand", "3rd position"): "3. Lage",
}
FRENCH = {
    ("note name", "B"): "si",
    ("note name", "B♭"): "si♭",
    ("note name", "F♯"): "fa♯",
    ("key", "%(tonic)s major"): "%(tonic)s majeur",
    ("key", "%(tonic)s minor"): "%(tonic)s mineur",
    ("key", "%(tonic)s harmonic minor"): "%(tonic)s mineur harmonique",
    ("left hand", "3rd position"): "3e position",
}


@pytest.fixture
def read(request):
    words = request.param
    naming.translate_by(lambda context, said: words.get((context, said), said))
    yield
    naming.translate_by(None)


SAID = {
    "de": ("H4", "B4", "Fis5", "B-Dur", "h-Moll", "h-Moll harmonisch", "3. Lage"),
    "fr": ("si4", "si♭4", "fa♯5", "si♭ majeur", "si mineur", "si mineur harmonique", "3e position"),
    "en": ("B4", "B♭4", "F♯5", "B♭ major", "B minor", "B harmonic minor", "3rd position"),
}


@pytest.mark.parametrize(
    ("read", "said"),
    [(GERMAN, SAID["de"]), (FRENCH, SAID["fr"]), ({}, SAID["en"])],
    indirect=["read"],
)
def test_notes_keys_and_positions_are_named_as_the_reader_knows_them(read, said):
    notes = [Pitch.parse(name).pretty for name in ("B4", "Bb4", "F#5")]
    keys = [Key.parse(name).name for name in ("Bb major", "B minor")]
    harmonic = Request(key="B minor", minor="harmonic").scale_name
    assert (*notes, *keys, harmonic, position_name(3)) == said


@pytest.mark.parametrize("read", [GERMAN, FRENCH], indirect=True)
def test_what_programs_and_forms_read_stays_in_every_language(read):
    flat = Key.parse("Bb major")
    assert (str(Pitch.parse("Bb4")), str(flat), flat.written) == ("Bb4", "Bb major", "B♭ major")
    assert Key.parse(flat.written) == flat


def test_every_name_is_collected_with_its_context():
    found = {(m.context, m.singular) for m in collected("django") if m.context}
    assert found >= set(GERMAN)
    assert len([context for context, _ in found if context == "note name"]) == 35

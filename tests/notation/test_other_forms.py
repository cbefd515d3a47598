"""MEI and MIDI that other programs wrote (Verovio, music21) are the music they were made of."""

import base64
import io

import pytest
import verovio
from mido import Message, MidiFile, MidiTrack
from music21 import chord, meter, note, stream
from music21.musicxml.m21ToXml import GeneralObjectExporter

from studio.notation.musicxml import NotMusic, read_musicxml
from studio.notation.musicxml.other_forms import FROM_MEI, FROM_MIDI, ROUNDED

NOTES = (
    ("G4", 1),
    ("B4 D5", 0.5),
    ("A4", 0.5),
    ("", 1),
    ("F#4 D5", 1),
    ("G4 E5", 1.5),
    ("C5", 0.5),
)


@pytest.fixture(scope="module")
def page() -> bytes:
    part = stream.Part([meter.TimeSignature("4/4")])
    for names, length in (*NOTES, *NOTES[::-1]):
        pitches = names.split()
        kind = (
            chord.Chord(pitches) if pitches[1:] else note.Note(*pitches) if names else note.Rest()
        )
        kind.quarterLength = length
        part.append(kind)
    return GeneralObjectExporter(stream.Score([part])).parse()


@pytest.fixture(scope="module")
def toolkit(page) -> verovio.toolkit:
    made = verovio.toolkit()
    assert made.loadData(page.decode())
    return made


def what_sounds(data: bytes) -> list[tuple]:
    written = read_musicxml(data, title="A page").score.written
    return [
        (item.bar, item.beats, item.rest_before, tuple(map(str, item.pitches))) for item in written
    ]


def test_mei_is_what_it_was_made_of(page, toolkit):
    mei = toolkit.getMEI().encode()
    assert what_sounds(mei) == what_sounds(page)
    read = read_musicxml(mei)
    assert read.remarks[0] == FROM_MEI
    assert not read.score.timed, "its words of tempo are not read"


def test_midi_is_what_it_was_made_of(page, toolkit):
    midi = base64.b64decode(toolkit.renderToMIDI())
    assert what_sounds(midi) == what_sounds(page)
    assert read_musicxml(midi).remarks[0] == FROM_MIDI


def midi_of(ticks: list[int]) -> bytes:
    track = MidiTrack()
    for tick in ticks:
        track += [Message("note_on", note=67, time=0), Message("note_off", note=67, time=tick)]
    file, kept = MidiFile(ticks_per_beat=480), io.BytesIO()
    file.tracks.append(track)
    file.save(file=kept)
    return kept.getvalue()


def test_what_was_played_is_put_on_sixteenths_and_that_is_said():
    read = read_musicxml(midi_of([467, 251, 233, 489, 120]))
    assert ROUNDED in read.remarks
    assert [float(item.beats) for item in read.score.written][:2] == [1.0, 0.5]
    assert ROUNDED not in read_musicxml(midi_of([480, 240, 240, 160, 160, 160])).remarks


@pytest.mark.parametrize(
    "data",
    [
        b"MThd",
        b"MThd\0\0\0\6\0\1\0\1\xe7\x28" + b"MTrk\0\0\0\4\0\xff\x2f\0",  # in seconds
        b"MThd\0\0\0\6\0\1\xff\xff\1\xe0",
        midi_of([480])[:-6],
        midi_of([0]),
        b"MThd" + bytes(600_000),
        b"<mei/>",
        b'<!DOCTYPE mei [<!ENTITY a "b">]><mei>&a;</mei>',
        b'<mei xmlns="http://www.music-encoding.org/ns/mei"><music/><music/></mei>',
    ],
)
def test_a_damaged_or_foreign_file_is_refused_in_a_sentence(data):
    with pytest.raises(NotMusic) as refused:
        read_musicxml(data)
    assert str(refused.value).endswith(".")

"""MusicXML out and in: valid by the W3C's schema, the same after a round trip, safe to open.

Source: MusicXML 4.0, W3C Music Notation Community Group, final report of June 2021, and its schema.
The music in these files is made up.
"""

import contextlib
import io
import zipfile
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.notation import Request, Score, Written, generate
from studio.notation.musicxml import NotMusic, read_musicxml, to_musicxml
from studio.notation.musicxml.opening import MAX_FILE_BYTES
from studio.theory import Pitch
from tests.notation.musicxml_schema import faults
from tests.notation.written_pages import drill, foreign, heard, note, requests


@given(requests)
@settings(max_examples=40)
def test_a_drill_is_valid_musicxml_and_comes_back_unchanged(request):
    score = drill(request)
    document = to_musicxml(score)
    assert faults(document) == []
    assert read_musicxml(document.encode()).score == score


def test_the_schema_finds_fault_with_a_broken_document():
    document = to_musicxml(generate(Request()))
    assert faults(document.replace("<octave>", "<octave>9"))


def test_measured_figures_stand_under_their_notes_in_a_valid_document():
    score = generate(Request())
    document = to_musicxml(score, figures={"n3": "+12 ± 1"})
    assert faults(document) == []
    assert "+12 ± 1" in document


def test_a_compressed_file_reads_the_same():
    score = generate(Request(interval="sixths", key="D major"))
    assert read_musicxml(compressed(to_musicxml(score))).score == score


def compressed(document: str, path: str = "page.musicxml", **members: bytes) -> bytes:
    container = (
        '<?xml version="1.0"?><container><rootfiles>'
        f'<rootfile full-path="{path}"/></rootfiles></container>'
    )
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", container)
        archive.writestr("page.musicxml", document)
    return held.getvalue()


def test_a_note_held_against_a_moving_one_gives_a_double_stop_for_each():
    body = (
        note("C4", 8)
        + "<backup><duration>8</duration></backup>"
        + note("Eb4", 4, voice=2)
        + note("Ab4", 4, voice=2)
    )
    read = read_musicxml(foreign(body))
    assert heard(read.score) == [("C4 Eb4", Fraction(2)), ("C4 Ab4", Fraction(2))]
    assert read.score.key == "C minor"


def test_tied_notes_are_one():
    tie = '<tie type="{0}"/>'
    body = (
        note("C4", 2, more=tie.format("start"))
        + note("G4", 2, chord=True, more=tie.format("start"))
        + note("C4", 2, more=tie.format("stop"))
        + note("G4", 2, chord=True, more=tie.format("stop"))
    )
    # The tie elements belong before the voice; written here as a lenient program would.
    assert heard(read_musicxml(foreign(body)).score) == [("C4 G4", Fraction(2))]


def test_fingers_and_strings_of_a_foreign_page_are_kept():
    technical = (
        "<notations><technical><fingering>3</fingering><string>4</string></technical></notations>"
    )
    (item,) = read_musicxml(foreign(note("C4", 4, more=technical))).score.written
    assert (item.fingers, item.strings, item.manner) == ((3,), (4,), "alone")


def test_rests_and_grace_notes_are_left_out_and_said():
    grace = "<note><grace/><pitch><step>D</step><octave>4</octave></pitch><voice>1</voice></note>"
    rest = "<note><rest/><duration>2</duration><voice>1</voice></note>"
    read = read_musicxml(foreign(grace + note("C4", 2) + rest + note("Eb4", 2)))
    assert [pitches for pitches, _ in heard(read.score)] == ["C4", "Eb4"]
    assert "Grace notes (bar 1) stand on the page and are not followed." in read.remarks


def test_a_viola_part_is_read_as_one_and_low_notes_on_a_violin_are_said():
    assert read_musicxml(foreign(note("C3", 2), part="Viola 1")).score.instrument == "viola"
    read = read_musicxml(foreign(note("C3", 2)))
    assert "C3 lies below the violin's lowest string, G3" in read.remarks[0]


def test_five_notes_at_once_are_said_with_their_bar():
    body = note("G3", 2) + "".join(note(name, 2, chord=True) for name in ("D4", "Bb4", "Eb5", "G5"))
    with pytest.raises(NotMusic, match="all bars have more than 4 notes at once"):
        read_musicxml(foreign(body))
    read = read_musicxml(foreign(body + note("C5", 4)))
    assert [pitches for pitches, _ in heard(read.score)] == ["C5"]
    assert "More than 4 notes at once (bar 1) are not followed." in read.remarks


BOMB = """<?xml version="1.0"?><!DOCTYPE score-partwise [<!ENTITY a "aaaaaaaaaa">
<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]><score-partwise>&b;</score-partwise>"""
FILE = """<?xml version="1.0"?><!DOCTYPE score-partwise [<!ENTITY x SYSTEM "file:///etc/passwd">]>
<score-partwise>&x;</score-partwise>"""
OUTSIDE = """<?xml version="1.0"?><!DOCTYPE score-partwise [
<!ENTITY % x SYSTEM "http://127.0.0.1:9/x.dtd"> %x;]><score-partwise/>"""


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (BOMB.encode(), "entities"),
        (FILE.encode(), "entities"),
        (OUTSIDE.encode(), "entities"),
        (b"", "damaged"),
        (b"<score-partwise>", "damaged"),
        (b"PK\x03\x04 no archive", "damaged"),
        (b"<html/>", "no MusicXML score"),
        (b"<score-timewise/>", "timewise"),
        (b"<score-partwise/>", "no notes"),
        (b"<a>" * 60 + b"</a>" * 60, "no MusicXML score"),
        (b"<score-partwise>" + b"<a>" * 60 + b"</a>" * 60 + b"</score-partwise>", "nested"),
        (b"x" * (MAX_FILE_BYTES + 1), "5.0 MB"),
        (compressed("<score-partwise>" + " " * 20_000_001), "larger than 20 MB"),
        (compressed("<score-partwise/>", path="../../etc/passwd"), "damaged"),
        (foreign(note("C4", 2)).replace(b"<octave>4", b"<octave>99"), "in time"),
    ],
    ids=[
        *("entity bomb", "local file", "remote entity", "empty", "cut off", "broken archive"),
        *("web page", "timewise", "no notes", "not a score", "deep", "too large", "zip bomb"),
        *("path out of the archive", "octave 99"),
    ],
)
def test_malformed_and_hostile_files_are_refused_with_a_sentence(data, words):
    with pytest.raises(NotMusic, match=words):
        read_musicxml(data)


@given(st.binary(max_size=300))
@settings(max_examples=100)
def test_no_bytes_do_anything_but_be_refused(data):
    with pytest.raises(NotMusic):
        read_musicxml(data)


@given(st.integers(0, 3000), st.binary(min_size=1, max_size=4))
@settings(max_examples=60)
def test_a_damaged_page_is_read_or_refused_and_nothing_else(place, noise):
    document = to_musicxml(generate(Request(manner="together"))).encode()
    damaged = document[:place] + noise + document[place + len(noise) :]
    with contextlib.suppress(NotMusic):
        assert read_musicxml(damaged).score.written


def test_a_page_without_signature_is_in_no_key():
    score = Score(
        title="",
        instrument="violin",
        written=(Written(id="n1", pitches=(Pitch.parse("A4"),), bar=1, manner="alone"),),
    )
    assert read_musicxml(to_musicxml(score).encode()).score == score

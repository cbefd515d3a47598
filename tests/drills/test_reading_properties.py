"""Whatever is wrong with a page, it is read as music that can be drawn, or refused in a sentence.

Good pages are spoilt in every way that a program, or somebody with an editor, might; small scores
are made from nothing. What is read is then written, drawn and looked at as it is for the shelf.
"""

import io
import json
import re
import time
import tracemalloc
import zipfile
from copy import deepcopy
from fractions import Fraction
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, fromstring, tostring

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.drills.reading.work import CPU_S, LIMITS
from studio.drills.saying import key_name
from studio.drills.sheets import incipit, sheet_of
from studio.drills.stretches import level_of, player_of, stops_of, stretches
from studio.notation import Request, Score, Written, generate
from studio.notation.engraving import NotEngraved
from studio.notation.musicxml import NotMusic, read_musicxml, to_musicxml
from studio.notation.musicxml.reading import MAX_TITLE_CHARS
from studio.notation.score import SIGNS
from studio.theory import INSTRUMENTS, Pitch
from studio.theory.instruments import places, string_number
from tests.notation.written_pages import foreign, heard, note

EXAMPLES = settings(max_examples=40, derandomize=True)
FEW = settings(EXAMPLES, max_examples=12)
PAGES = [
    to_musicxml(score.with_written(score.written[:5]))
    for more in (
        {"key": "Eb major", "interval": "thirds", "hold_s": 2.5},
        {"key": "F# minor", "interval": "sixths", "manner": "together", "playings": 3},
        {"key": "C major", "interval": "octaves", "instrument": "viola", "manner": "together"},
    )
    for score in [generate(Request(octaves=1, **more))]
]
NUMBERS = (
    *("²", "٣", "１", "½", "Ⅳ", "1.0", "0.5", "1.5", "-0", "+1", ".5", "1e3", "0x10", "1_0", "1 2"),
    *("nan", "inf", "-inf", "", " ", "0", "-1", "-7", "7", "12", "99", "999999999", "-999999999"),
    *("1" * 11, "9" * 12, "9" * 4000, "1/3", "C", "quarter", "\u202e4", "4\n"),
)
TEXTS = ("x" * 20_000, "a\nb\u2028c\x85d", "𝄫" * 300, "<&>\"'", "\u202egnihton", "\ufffd")
ODD = st.sampled_from(NUMBERS + TEXTS)
# Read as numbers, or meant to be: odd words go there more often than anywhere else.
COUNTED = {
    *("divisions", "duration", "octave", "alter", "fifths", "fingering", "string", "other-play"),
    *("step", "line", "voice", "staff", "beats", "beat-type"),
}

WAYS = (
    *("text", "text", "text", "attribute", "missing", "empty", "twice", "order", "elsewhere"),
    *("added", "deep"),
)
ADDED = (
    *("note", "backup", "forward", "attributes", "divisions", "duration", "measure", "part"),
    *("grace", "chord", "rest", "tie", "accidental", "time-modification", "cue", "unpitched"),
    *("barline", "direction", "transpose", "key", "time", "alter", "dot", "type", "voice"),
)


def spoil(draw, root: Element) -> None:
    """One thing wrong with the page."""
    everything = [(parent, child) for parent in root.iter() for child in parent]
    counted = [pair for pair in everything if pair[1].tag in COUNTED]
    if not everything:
        return
    parent, child = draw(st.sampled_from((draw(st.booleans()) and counted) or everything))
    at = list(parent).index(child)
    how = draw(st.sampled_from(WAYS))
    if how == "text":
        child.text = draw(ODD)
    elif how == "attribute":
        child.set(draw(st.sampled_from(["id", "number", "type", "x"])), draw(ODD))
    elif how == "missing":
        parent.remove(child)
    elif how == "empty":
        child.clear()
    elif how == "twice":
        parent.insert(at, deepcopy(child))
    elif how == "order":
        parent.remove(child)
        parent.insert(draw(st.integers(0, len(parent))), child)
    elif how == "elsewhere":
        draw(st.sampled_from(everything))[0].append(deepcopy(child))
    elif how == "added":
        SubElement(parent, draw(st.sampled_from(ADDED))).text = draw(ODD)
    else:
        for _ in range(draw(st.sampled_from([1, 20, 60]))):
            child = SubElement(child, draw(st.sampled_from(["note", "measure", "pitch", "a"])))


@st.composite
def spoilt(draw) -> bytes:
    root = fromstring(draw(st.sampled_from(PAGES)))
    for _ in range(draw(st.integers(1, 4))):
        spoil(draw, root)
    return tostring(root, encoding="utf-8", xml_declaration=True)


def most_memory() -> int:
    """The most memory that this process has held since it was asked to begin anew, in bytes."""
    return int(re.search(r"VmHWM:\s+(\d+) kB", Path("/proc/self/status").read_text())[1]) * 1024


def memory_from_now_on() -> int:
    """Begin anew (proc(5), clear_refs); what is held now, in bytes."""
    Path("/proc/self/clear_refs").write_text("5")
    return most_memory()


def read_or_refused(data: bytes, instrument: str | None = None) -> Score | None:
    """The score as it would stand on the shelf, drawn; ``None`` where it was refused."""
    began, before, refused = time.process_time(), memory_from_now_on(), ""
    try:
        found = read_musicxml(data, instrument=instrument)
    except NotMusic as error:
        refused = str(error)
    assert time.process_time() - began < CPU_S
    assert most_memory() - before < LIMITS.memory_bytes
    if refused:
        assert reads_well(refused)
        return None
    hold_invariants(found.score)
    assert all(reads_well(remark) for remark in found.remarks)
    is_drawn(found.score)
    return found.score


def reads_well(sentence: str) -> bool:
    """Short, one line, ends as a sentence does, and names nothing of the program's own."""
    inner = ("Error", "Exception", "Traceback", "object at", "NoneType")
    ended = sentence.endswith((".", "?"))
    return (
        ended
        and len(sentence) < 300
        and "\n" not in sentence
        and not any(word in sentence for word in inner)
    )


def hold_invariants(score: Score) -> None:
    kept = json.loads(json.dumps(score.to_dict(), allow_nan=False))
    assert Score.from_dict(kept) == score
    ids = [each for item in score.written for each in item.note_ids]
    assert len(ids) == len(set(ids))
    assert len(score.title) <= MAX_TITLE_CHARS
    assert score.title == " ".join(score.title.split())
    strings = score.player.open_strings
    for item in score.written:
        for pitch, number in zip(item.pitches, item.strings, strict=True):
            assert number is None or pitch.midi >= strings[len(strings) - number].midi


def is_drawn(score: Score) -> None:
    """By all that goes over a page before it is on the shelf; only the engraver's own error."""
    level_of(score), key_name(score)
    stretches(score, player_of(None, score.instrument))
    try:
        sheet = sheet_of(score)
        incipit(score)
    except NotEngraved:
        return
    assert all("<svg" in screen.svg for screen in sheet.screens)


@given(spoilt(), st.sampled_from([None, "violin", "viola"]))
@EXAMPLES
def test_a_spoilt_page_is_read_and_drawn_or_refused(data, instrument):
    read_or_refused(data, instrument)


@given(
    st.sampled_from(PAGES),
    st.floats(0, 1),
    st.binary(min_size=1, max_size=40),
    st.sampled_from(
        [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA]
    ),
)
@EXAMPLES
def test_a_broken_archive_is_read_or_refused(page, where, noise, packing):
    packed = archive(page, packing)
    place = int(where * len(packed))
    read_or_refused(packed[:place] + noise + packed[place + len(noise) :])
    read_or_refused(packed[:place])


def archive(page: str, packing: int) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", packing) as file:
        container = '<container><rootfiles><rootfile full-path="a"/></rootfiles></container>'
        file.writestr("META-INF/container.xml", container)
        file.writestr("a", page)
    return held.getvalue()


PITCHES = [
    Pitch(step, alter, octave)
    for step in "CDEFGAB"
    for alter in SIGNS.values()
    for octave in (3, 4, 5, 6)
]
LENGTHS = [Fraction(1), Fraction(2), Fraction(3, 2), Fraction(1, 3), Fraction(5, 7), Fraction(17)]


@st.composite
def scores(draw) -> Score:
    """Up to eight things, one to four notes each, spelled and held anyhow."""
    instrument = draw(st.sampled_from(list(INSTRUMENTS)))
    bar, written = 1, []
    for number in range(draw(st.integers(1, 8))):
        bar += draw(st.booleans()) if written else 0
        chosen = draw(st.lists(st.sampled_from(PITCHES), min_size=1, max_size=4, unique=True))
        pitches = tuple(sorted(chosen, key=lambda pitch: pitch.midi))
        written.append(
            Written(
                id=f"n{number}",
                pitches=pitches,
                bar=bar,
                strings=tuple(
                    draw(st.sampled_from(strings_for(pitch, instrument))) for pitch in pitches
                ),
                fingers=tuple(draw(st.sampled_from([None, 0, 1, 2, 3, 4])) for _ in pitches),
                beats=draw(st.sampled_from(LENGTHS)),
                manner="together"
                if len(pitches) > 1
                else draw(st.sampled_from(["alone", "separate"])),
                playings=draw(st.integers(1, 99)),
                hold_s=draw(st.none() | st.sampled_from([0.2, 2.5, 60.0])),
                shift=draw(st.booleans()),
                position=draw(st.none() | st.integers(0, 15)),
            )
        )
    key = draw(st.none() | st.sampled_from(["C major", "Db major", "G# minor"]))
    return Score(
        title=draw(st.sampled_from(["", "Page"])),
        instrument=instrument,
        key=key,
        written=tuple(written),
    )


def strings_for(pitch: Pitch, instrument: str) -> list[int | None]:
    strings = INSTRUMENTS[instrument].open_strings
    return [None, *(string_number(index, strings) for index, _ in places(pitch.midi, strings))]


@given(scores())
@FEW
def test_any_small_score_comes_back_as_it_was_and_is_drawn(score):
    assert read_or_refused(to_musicxml(score).encode()) == score


# What was found amiss by the above; each was another note, another time, or a fault of ours.


@pytest.mark.parametrize(
    ("written", "is_read"),
    [
        ("1.0", "F#4"),
        ("+1", "F#4"),
        ("0.0", "F4"),
        ("0.5", ""),
        ("nan", ""),
        ("", ""),
        ("\u202e1", ""),
    ],
)
def test_an_alteration_is_read_as_it_is_written_or_refused(written, is_read):
    page = foreign(note("F#4", 4)).replace(b"<alter>1<", f"<alter>{written}<".encode())
    score = read_or_refused(page)
    assert (heard(score)[0][0] if score else "") == is_read


def test_divisions_that_change_leave_the_notes_where_they_are():
    change = '</measure><measure number="2"><attributes><divisions>{}</divisions></attributes>'
    body = note("C4", 4) + note("D4", 2) + change.format(10) + note("E4", 15) + note("F4", 5)
    score = read_or_refused(foreign(body + change.format("0.5") + note("G4", 1)))
    lengths = [Fraction(2), Fraction(1), Fraction(3, 2), Fraction(1, 2), Fraction(2)]
    assert heard(score) == list(zip(["C4", "D4", "E4", "F4", "G4"], lengths, strict=True))


def test_lengths_without_a_common_division_are_refused():
    primes = [n for n in range(1000, 1400) if all(n % smaller for smaller in range(2, 38))]
    bars = "</measure>".join(
        f"<measure><attributes><divisions>{n}</divisions></attributes>{note('C4', n - 1)}"
        for n in primes
    )
    with pytest.raises(NotMusic, match="1000000 parts of a quarter note"):
        read_musicxml(foreign(f"</measure>{bars}"))


@pytest.mark.parametrize("encoding", ["shift_jis", "utf-7", "hex", "idna", "none-such"])
def test_an_encoding_that_is_not_read_is_said(encoding):
    with pytest.raises(NotMusic, match="damaged or is no MusicXML"):
        read_musicxml(PAGES[0].replace("UTF-8", encoding).encode())


@pytest.mark.parametrize("packing", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_an_archive_that_would_unpack_whole_costs_nothing(packing):
    """A few kilobytes that are 30 MB; only deflate, the standard's own, is read piece by piece."""
    packed = archive("<score-partwise>" + " " * 30_000_000, packing)
    tracemalloc.start()
    try:
        with pytest.raises(NotMusic, match="packed in an unusual way"):
            read_musicxml(packed)
        assert tracemalloc.get_traced_memory()[1] < 2_000_000
    finally:
        tracemalloc.stop()


def test_a_note_s_ids_are_its_own_where_a_file_s_would_meet():
    page = (
        note("C4", 4).replace("<note>", '<note id="n3-0">')
        + note("D4", 4).replace("<note>", '<note id="n3-0">')
        + note("A4", 4, chord=True).replace("<note>", '<note id="n3-1">')
    )
    assert [item.id for item in read_or_refused(foreign(page)).written] == ["n1", "n2"]
    odd = note("C4", 4).replace("<note>", '<note id="é1">')
    assert [item.id for item in read_or_refused(foreign(odd)).written] == ["n1"]


def test_a_string_on_which_the_note_is_not_is_left_out_and_said():
    on = "<notations><technical><string>{}</string></technical></notations>"
    body = note("A3", 4, more=on.format(1)) + note("C5", 4, chord=True, more=on.format(2))
    read = read_musicxml(foreign(body))
    assert read.score.written[0].strings == (None, 2)
    assert read.remarks == (
        "A3 is not on the E string of the violin: such strings are left out (1 in all).",
    )
    is_drawn(read.score)


def test_a_stored_page_with_such_a_string_still_has_a_level():
    """From before they were left out."""
    pitches = (Pitch.parse("A3"), Pitch.parse("C5"))
    item = Written(id="n1", pitches=pitches, bar=1, strings=(1, 2), fingers=(1, 2))
    score = Score(title="", instrument="violin", written=(item,))
    assert stops_of(score, item) == [None, 3]
    is_drawn(score)


def test_a_title_is_one_line():
    page = PAGES[0].replace("<work-title>", "<work-title>Slow\n&#x85;and\u2028 even ")
    assert read_or_refused(page.encode()).title.startswith("Slow and even ")

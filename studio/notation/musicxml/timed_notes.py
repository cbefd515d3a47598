"""The notes of a part of MusicXML: what each one's own elements say, and when it sounds.

Time is read by partitura (voices, backups, ties); fingers, strings and the instructions in ``play``
are read from the file's own elements.
"""

import io
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any
from xml.etree.ElementTree import Element, tostring

from studio import figures
from studio.figures.translation import _
from studio.notation.musicxml.opening import NotMusic
from studio.notation.score import BOWS, FINGERS, MAX_WRITTEN, SIGN_MARKS, SIGNS, Accidental
from studio.theory import Pitch

# Read by nobody here, and a burden to the time reader.
_LEFT_OUT = ("direction", "lyric", "harmony", "figured-bass", "sound", "print")
_OURS, _SEAT = "xml-note-", "seat"


@dataclass(slots=True)
class Noted:
    """What a note's own elements say of it."""

    seat: int = 0  # its number among the part's notes, as it came: in a unison the lower one first
    measure: int = 0
    id: str | None = None
    finger: int | None = None
    string: int | None = None
    accidental: Accidental | None = None
    bow: str | None = None
    held: bool = False
    slurs: tuple[tuple[str, str], ...] = ()  # (start or stop, number)
    play: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class TimedNote:
    """One note in time: start and end in quarter notes.

    ``tied_on`` are the notes tied to it, each with its start; ``is_tied`` where it is one of them.
    """

    start: Fraction
    end: Fraction
    bar: int
    pitch: Pitch
    noted: Noted
    tied_on: tuple[tuple[Fraction, Noted], ...] = ()
    is_tied: bool = False

    def at(self, moment: Fraction) -> "TimedNote":
        """The note as it is written at a moment while it sounds."""
        for start, noted in self.tied_on:
            if start == moment:
                return replace(self, noted=noted, is_tied=True)
        return self


def seat(part: Element) -> None:
    """Number the notes, as they are numbered on the page that is kept."""
    for place, measure in enumerate(part.findall("measure")):
        measure.set(_SEAT, str(place))
    for place, note in enumerate(part.iter("note")):
        note.set(_SEAT, str(place))


def details(part: Element) -> dict[str, Noted]:
    """What each note says, by a number of our own that then is its id in the tree."""
    found: dict[str, Noted] = {}
    for parent in list(part.iter()):
        for child in [child for child in parent if child.tag in _LEFT_OUT]:
            parent.remove(child)
    measures = [
        (int(m.get(_SEAT, "0")), note) for m in part.iter("measure") for note in m.iter("note")
    ]
    for number, (measure, note) in enumerate(measures):
        key = f"{_OURS}{number}"
        found[key] = Noted(
            seat=int(note.attrib.pop(_SEAT, number)),
            measure=measure,
            id=note.get("id"),
            finger=small_number(note.findtext("notations/technical/fingering"), FINGERS),
            string=small_number(note.findtext("notations/technical/string"), range(1, 5)),
            accidental=_accidental(note.find("accidental")),
            bow=_bow(note),
            held=note.find("notations/fermata") is not None,
            slurs=tuple(
                (slur.get("type", ""), slur.get("number", "1"))
                for slur in note.findall("notations/slur")
            ),
            play={
                other.get("type", ""): (other.text or "").strip()
                for other in note.findall("play/other-play")
            },
        )
        note.set("id", key)
        for name in ("notations/technical", "notations/slur", "play", "accidental"):
            _drop(note, name)
    return found


def _accidental(element: Element | None) -> Accidental | None:
    """The sign before a note; ``None`` for one that this project does not know."""
    kind = (element.text or "").strip() if element is not None else ""
    if element is None or kind not in SIGNS:
        return None
    return Accidental(kind, tuple(mark for mark in SIGN_MARKS if element.get(mark) == "yes"))


def _bow(note: Element) -> str | None:
    said = [bow for bow in BOWS if note.find(f"notations/technical/{bow}-bow") is not None]
    return said[0] if said else None


def _drop(note: Element, path: str) -> None:
    holder, _rest, name = path.rpartition("/")
    for parent in note.findall(holder) if holder else [note]:
        for child in parent.findall(name):
            parent.remove(child)


def small_number(text: str | None, allowed: range) -> int | None:
    number = figures.whole((text or "").strip())
    return number if number in allowed else None


def timed(
    root: Element, noted: dict[str, Noted], divisions: int, numbers: Sequence[int]
) -> list[TimedNote]:
    """Every note with its time, in order; ``divisions`` of a quarter note throughout."""
    from partitura import load_musicxml  # takes a second to load

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            loaded = load_musicxml(io.BytesIO(tostring(root)), force_note_ids="keep")
            part = loaded.parts[0]
            notes = [_timed_note(note, divisions, numbers, noted) for note in part.notes_tied]
    except MemoryError:  # says nothing of the file
        raise
    except Exception as error:  # whatever a damaged file makes the reader stumble over
        raise NotMusic(_("The notes cannot be put in time. Export the page again.")) from error
    found = [note for note in notes if note is not None]
    if not found:
        raise NotMusic(_("There are no notes in this file."))
    return sorted(found, key=lambda note: (note.start, note.pitch.midi))


def _timed_note(
    note: Any, divisions: int, numbers: Sequence[int], noted: dict[str, Noted]
) -> TimedNote | None:
    """A note of the reader's in our terms; ``None`` for grace notes, which take no time."""
    start, end = note.start.t, note.end_tied.t
    if end <= start:
        return None
    pitch = Pitch(note.step.upper(), int(note.alter or 0), int(note.octave))
    tied_on: list[tuple[Fraction, Noted]] = []
    following = note.tie_next
    while following is not None and len(tied_on) < MAX_WRITTEN:
        tied_on.append((Fraction(following.start.t, divisions), noted[following.id]))
        following = following.tie_next
    return TimedNote(
        Fraction(start, divisions),
        Fraction(end, divisions),
        numbers[noted[note.id].measure],
        pitch,
        noted[note.id],
        tuple(tied_on),
    )

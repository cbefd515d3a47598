"""What stands on a page and is not followed as it stands, each said with its bars.

Taken out before the notes are put in time: cue notes, notes between the half tones, notes without a
pitch. Harmonics become what sounds. An artificial one is written as the note that is stopped and
the note that is touched above it: it sounds two octaves above a stop touched a fourth above, two
octaves and a third or a fifth for a third, an octave and a fifth for a fifth (the touched point
divides the string in 4, 5, 6 and 3: arithmetic).
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from studio import figures
from studio.figures.translation import N_

# From the stopped note to the touched one, and on to what sounds, in semitones and in steps.
_ARTIFICIAL = {3: (31, 18), 4: (28, 16), 5: (24, 14), 7: (19, 11), 12: (12, 7)}
_STEPS, _SEMITONES = "CDEFGAB", (0, 2, 4, 5, 7, 9, 11)
_JUMPS = ("dacapo", "dalsegno", "tocoda")
_JUMP_WORDS = re.compile(r"\b(d\. ?[cs]\.|da capo|dal segno|to coda|al coda|al fine)", re.I)
_ORNAMENTS = {
    *("trill-mark", "turn", "inverted-turn", "delayed-turn", "mordent", "inverted-mordent"),
    *("tremolo", "schleifer", "shake"),
}
SAID_BARS = 6  # more are counted

GRACE = N_("Grace notes ({where}) stand on the page and are not followed.")
CUE = N_("Cue notes ({where}) stand on the page and are not followed.")
MICROTONE = N_("Notes between the half tones ({where}) stand on the page and are not followed.")
UNPITCHED = N_("Notes without a pitch ({where}) stand on the page and are not followed.")
SOUNDING = N_("Harmonics ({where}) are followed as they sound.")
HARMONIC = N_("Harmonics ({where}) are followed as the note that is written.")
ORNAMENT = N_("Trills, other ornaments and tremolos ({where}) are followed as the plain note.")
JUMP = N_(
    "A jump such as D.C. or D.S. ({where}) stands on the page. The bars are followed as they are "
    "written; whoever jumps is found again."
)


@dataclass(slots=True)
class Unfollowed:
    """Bars by the sentence that is said of them."""

    bars: dict[str, set[int]] = field(default_factory=lambda: defaultdict(set))

    def remarks(self) -> list[str]:
        """Each sentence with its bars."""
        return [sentence.format(where=where(bars)) for sentence, bars in self.bars.items()]


def where(bars: Iterable[int]) -> str:
    """Bars in words.

    >>> where([7]), where([4, 2, 9])
    ('bar 7', 'bars 2, 4 and 9')
    """
    found = sorted(set(bars))
    if len(found) == 1:
        return f"bar {found[0]}"
    shown = [str(bar) for bar in found[:SAID_BARS]]
    more = len(found) - SAID_BARS
    last = f"{more} more" if more > 0 else shown.pop()
    return f"bars {', '.join(shown)} and {last}"


def without_unfollowed(part: Element, numbers: Sequence[int]) -> Unfollowed:
    """Take out of the part what is not followed, in place."""
    found = Unfollowed()
    for measure, bar in zip(part.findall("measure"), numbers, strict=True):
        for element in measure.iter():
            if _is_jump(element):
                found.bars[JUMP].add(bar)
        for chord in _chords(measure):
            for sentence in _look_at(measure, chord):
                found.bars[sentence].add(bar)
    return found


def _is_jump(element: Element) -> bool:
    if element.tag == "sound":
        return any(element.get(name) for name in _JUMPS)
    return element.tag == "words" and bool(_JUMP_WORDS.search(element.text or ""))


def _chords(measure: Element) -> list[list[Element]]:
    """Its notes, those of one stem together; rests and grace notes each by themselves."""
    found: list[list[Element]] = []
    for note in measure.findall("note"):
        if note.find("chord") is not None and found:
            found[-1].append(note)
        else:
            found.append([note])
    return found


def _look_at(measure: Element, chord: list[Element]) -> list[str]:
    said = []
    if chord[0].find("grace") is not None:
        return [GRACE]
    if any(note.find("rest") is None and note.find("pitch") is None for note in chord):
        said.append(UNPITCHED)
    harmonic = _harmonics(measure, chord)
    if harmonic:
        said.append(harmonic)
    for note in list(chord):
        if note.find("notations/ornaments") is not None and any(
            each.tag in _ORNAMENTS for each in note.iterfind("notations/ornaments/*")
        ):
            said.append(ORNAMENT)
        if note.find("cue") is not None:
            said += [CUE] if note.find("pitch") is not None else []
            _silence(measure, chord, note)
        elif _is_between(note.findtext("pitch/alter")):
            said.append(MICROTONE)
            _silence(measure, chord, note)
    return said


def _is_between(text: str | None) -> bool:
    """A quarter tone, or another part of a half tone."""
    try:
        return text is not None and Fraction(text.strip()).denominator != 1
    except (ValueError, ZeroDivisionError):
        return False  # no number: refused where lengths and alterations are read


def _silence(measure: Element, chord: list[Element], note: Element) -> None:
    """Let a note be silent for as long as it lasts; the others of its stem stay."""
    place = chord.index(note)
    if len(chord) > 1:
        chord.remove(note)
        measure.remove(note)
        if place == 0:
            for mark in chord[0].findall("chord"):
                chord[0].remove(mark)
        return
    for name in ("pitch", "unpitched", "tie", "cue"):
        for child in note.findall(name):
            note.remove(child)
    note.insert(0, Element("rest"))


def _harmonics(measure: Element, chord: list[Element]) -> str | None:
    """What is said of a chord's harmonics, which then are what sounds."""
    marks = [note.find("notations/technical/harmonic") for note in chord]
    if all(mark is None for mark in marks):
        return None
    sounding = [
        note
        for note, mark in zip(chord, marks, strict=True)
        if mark is not None and mark.find("sounding-pitch") is not None
    ]
    if sounding:
        for note in [note for note in chord if note is not sounding[0]]:
            _silence(measure, chord, note)
        return SOUNDING
    if len(chord) == 2:
        low, high = sorted(chord, key=lambda note: _sounds(note) or 0)
        at = _sounds(low), _sounds(high)
        if at[0] is not None and at[1] is not None and at[1] - at[0] in _ARTIFICIAL:
            _raise(low, *_ARTIFICIAL[at[1] - at[0]])
            _silence(measure, chord, high)
            return SOUNDING
    return HARMONIC


def _sounds(note: Element) -> int | None:
    """Semitones above C0 of a note's pitch."""
    step = note.findtext("pitch/step", "").strip()
    octave = figures.whole((note.findtext("pitch/octave") or "").strip())
    alter = figures.whole((note.findtext("pitch/alter") or "0").strip(), low=-2, high=2)
    if octave is None or alter is None or len(step) != 1 or step not in _STEPS:
        return None
    return 12 * octave + _SEMITONES[_STEPS.index(step)] + alter


def _raise(note: Element, semitones: int, steps: int) -> None:
    """Move a note's pitch up, spelled as the interval is."""
    pitch, sounds = note.find("pitch"), _sounds(note)
    assert pitch is not None
    assert sounds is not None
    place = 7 * int(pitch.findtext("octave", "")) + _STEPS.index(pitch.findtext("step", "").strip())
    there = place + steps
    alter = sounds + semitones - 12 * (there // 7) - _SEMITONES[there % 7]
    pitch.clear()
    SubElement(pitch, "step").text = _STEPS[there % 7]
    if alter:
        SubElement(pitch, "alter").text = str(alter)
    SubElement(pitch, "octave").text = str(there // 7)
    for sign in note.findall("accidental"):
        note.remove(sign)

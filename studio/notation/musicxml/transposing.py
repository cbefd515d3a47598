"""A part for a transposing instrument, written as it sounds.

MusicXML says in ``transpose`` by how many steps (``diatonic``), semitones (``chromatic``) and
octaves (``octave-change``) what is written differs from what sounds. An interval of d steps and c
semitones moves a key signature by 7 c - 12 d fifths, so that each sign at the clef, and each sign
before a note, moves with the notes (arithmetic).
"""

from xml.etree.ElementTree import Element, SubElement

from studio import figures
from studio.notation.accidentals import KINDS
from studio.theory.pitches import MAX_ALTER

_STEPS = "CDEFGAB"
_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
MOST_FIFTHS = 7


def as_sounding(part: Element) -> bool:
    """Move all that is written to where it sounds, in place; whether anything moved."""
    steps = semitones = 0
    moved = False
    for measure in part.findall("measure"):
        for element in measure:
            if element.tag == "attributes":
                for said in element.findall("transpose"):
                    steps, semitones = _interval(said)
                    element.remove(said)
                if steps or semitones:
                    _move_keys(element, 7 * semitones - 12 * steps)
            elif element.tag == "note" and (steps or semitones):
                moved |= _move(element, steps, semitones)
    return moved


def _interval(said: Element) -> tuple[int, int]:
    """Steps and semitones; where no steps are said, those of the plainest such interval."""
    octaves = _number(said.findtext("octave-change")) or 0
    semitones = _number(said.findtext("chromatic")) or 0
    steps = _number(said.findtext("diatonic"))
    if steps is None:
        octave, within = divmod(semitones, 12)
        steps = 7 * octave + (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)[within]
    return steps + 7 * octaves, semitones + 12 * octaves


def _number(text: str | None) -> int | None:
    return figures.whole((text or "").strip(), low=-60, high=60)


def _move_keys(attributes: Element, fifths: int) -> None:
    for said in attributes.iterfind("key/fifths"):
        before = figures.whole((said.text or "").strip(), low=-MOST_FIFTHS, high=MOST_FIFTHS)
        if before is not None:
            after = before + fifths
            # Seven signs are the most; the same key has another name twelve fifths away.
            said.text = str(after - 12 * ((after > MOST_FIFTHS) - (after < -MOST_FIFTHS)))


def _move(note: Element, steps: int, semitones: int) -> bool:
    pitch = note.find("pitch")
    if pitch is None:
        return False
    step, octave = pitch.findtext("step", "").strip(), _number(pitch.findtext("octave"))
    alter = _number(pitch.findtext("alter") or "0")
    if step not in _STEPS or octave is None or alter is None or len(step) != 1:
        return False
    place = 7 * octave + _STEPS.index(step)
    sounds = 12 * octave + _SEMITONES[_STEPS.index(step)] + alter + semitones
    there = place + steps
    new = sounds - _natural(there)
    if abs(new) > MAX_ALTER or not 0 <= there < 70:
        there = next(
            each for each in range(there - 1, there + 2) if abs(sounds - _natural(each)) <= 1
        )
        new = sounds - _natural(there)
    pitch.clear()
    SubElement(pitch, "step").text = _STEPS[there % 7]
    if new:
        SubElement(pitch, "alter").text = str(new)
    SubElement(pitch, "octave").text = str(there // 7)
    sign = note.find("accidental")
    if sign is not None:
        sign.text = KINDS[new]
    return True


def _natural(place: int) -> int:
    """Semitones of a place of the staff without signs."""
    return 12 * (place // 7) + _SEMITONES[place % 7]

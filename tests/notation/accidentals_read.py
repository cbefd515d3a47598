"""Signs as others see them: those that the engraver drew, what a player reads of them, and those
that an independent reader asks for when it is told bare pitches, bars and the key signature
(music21's ``makeAccidentals``).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from xml.etree import ElementTree

from studio.notation import Score
from studio.notation.engraving import engrave

# SMuFL 1.4, range "Standard accidentals (12-EDO)"; in music21's words.
GLYPHS = {
    "E260": "flat",
    "E261": "natural",
    "E262": "sharp",
    "E263": "double-sharp",
    "E264": "double-flat",
}
ENCLOSING = {"E26A", "E26B", "E26C", "E26D"}  # parentheses and brackets
ALTERS = {"double-flat": -2, "flat": -1, "natural": 0, "sharp": 1, "double-sharp": 2}
SVG = "{http://www.w3.org/2000/svg}"
HREF = "{http://www.w3.org/1999/xlink}href"


@dataclass(frozen=True, slots=True)
class Asked:
    """What the independent reader asks for: signs that must stand, and those it would add."""

    needed: dict[str, str]
    courtesy: dict[str, str]


def drawn(score: Score, layout: str = "desk") -> dict[str, str]:
    """The sign drawn before each note, by the note's id; a note with none is left out."""
    found: dict[str, str] = {}
    for page in engrave(score, layout=layout):
        for name, glyph in _glyphs(ElementTree.fromstring(page)):
            assert name not in found, f"{name} has more than one sign"
            found[name] = GLYPHS[glyph]
    return found


def _glyphs(page: ElementTree.Element) -> Iterable[tuple[str, str]]:
    """Each sign's code with the id of the note that it stands in."""
    for note in page.iter(f"{SVG}g"):
        if "note" not in note.get("class", "").split():
            continue
        for group in note.iter(f"{SVG}g"):
            if group.get("class") == "accid":
                for use in group.iter(f"{SVG}use"):
                    code = use.get(HREF, "").lstrip("#").partition("-")[0]
                    if code not in ENCLOSING:
                        yield note.get("id", ""), code


def played(
    score: Score, signs: Mapping[str, str], keys: Mapping[int, int] | None = None
) -> dict[str, int]:
    """What a player reads who knows the clef's signs and those that are drawn, and no more.

    Each bar begins with the key signature; a sign holds for its line or space until the bar ends. A
    note that is tied is what it was. ``keys``: the number of sharps at the clef, flats below 0, by
    the bar from which it holds, where it changes.
    """
    key = score.spelled_key
    clef = _clef(key.signature if key else 0)
    changes = sorted((keys or {}).items())
    read: dict[str, int] = {}
    before: dict[tuple[str, int], int] = {}
    for bar in score.bars:
        while changes and changes[0][0] <= bar[0].bar:
            clef = _clef(changes.pop(0)[1])
        holds: dict[tuple[str, int], int] = {}
        for item in bar:
            now = {}
            for pitch, name, tied in zip(item.pitches, item.note_ids, item.tied, strict=True):
                place = pitch.step, pitch.octave
                if name in signs:
                    holds[place] = ALTERS[signs[name]]
                usual = holds.get(place, clef.get(pitch.step, 0))
                read[name] = now[place] = before.get(place, usual) if tied else usual
            before = now
    return read


def _clef(count: int) -> dict[str, int]:
    order = "FCGDAEB" if count > 0 else "BEADGCF"
    return dict.fromkeys(order[: abs(count)], 1 if count > 0 else -1)


def written(score: Score) -> dict[str, int]:
    """What was to be read."""
    return {
        name: pitch.alter
        for item in score.written
        for pitch, name in zip(item.pitches, item.note_ids, strict=True)
    }


def asked(score: Score) -> Asked:
    """What music21 prints of this score's pitches."""
    return Asked(needed=_needed(score), courtesy=_with_courtesy(score))


def _needed(score: Score) -> dict[str, str]:
    """Each bar for itself, and each octave: what nobody could read otherwise."""
    part = _part(score)
    signature = part.recurse().getElementsByClass("KeySignature").first()
    for measure in part.getElementsByClass("Measure"):
        measure.makeAccidentals(
            inPlace=True,
            useKeySignature=signature,
            cautionaryPitchClass=False,
            cautionaryNotImmediateRepeat=False,
        )
    return _displayed(part)


def _with_courtesy(score: Score) -> dict[str, str]:
    """The bar before and the other octaves remembered."""
    part = _part(score)
    part.makeAccidentals(inPlace=True, cautionaryNotImmediateRepeat=False)
    return _displayed(part)


def _displayed(part) -> dict[str, str]:
    return {
        note.id: note.pitch.accidental.name
        for element in part.recurse().notes
        for note in (element.notes if element.isChord else [element])
        if note.pitch.accidental is not None and note.pitch.accidental.displayStatus
    }


def _part(score: Score):
    from music21 import chord, key, note, stream, tie

    signature = score.spelled_key
    part = stream.Part()
    tied_on = _tied_on(score)
    for number, bar in enumerate(score.bars, 1):
        measure = stream.Measure(number=number)
        if number == 1:
            measure.append(key.KeySignature(signature.signature if signature else 0))
        for item in bar:
            notes = []
            for pitch, name in zip(item.pitches, item.note_ids, strict=True):
                one = note.Note(f"{pitch.step}{pitch.octave}", quarterLength=item.beats)
                if pitch.alter:
                    one.pitch.accidental = pitch.alter
                one.id = name
                if name in tied_on:
                    one.tie = tie.Tie("start")
                notes.append(one)
            measure.append(notes[0] if len(notes) == 1 else chord.Chord(notes))
        part.append(measure)
    return part


def _tied_on(score: Score) -> set[str]:
    """The notes that another is tied to."""
    found = set()
    for before, after in pairwise(score.written):
        held = {p for p, tied in zip(after.pitches, after.tied, strict=True) if tied}
        names = zip(before.pitches, before.note_ids, strict=True)
        found |= {name for pitch, name in names if pitch in held}
    return found


def faults_of(score: Score, signs: Mapping[str, str] | None = None) -> list[str]:
    """What is wrong with a page's signs, in words; ``signs`` instead of those that are drawn.

    A player reads what was written. What music21 asks for, courtesy included, stands there. What
    stands there beyond it is needed (without it a player would read another note), or is a courtesy
    where the same note was last altered otherwise.
    """
    signs, wanted = drawn(score) if signs is None else signs, asked(score)
    found = []
    if played(score, signs) != written(score):
        found.append("a player reads other notes")
    for name, sign in {**wanted.courtesy, **wanted.needed}.items():
        if signs.get(name) != sign:
            found.append(f"{name} has {signs.get(name)} and music21 asks for {sign}")
    changed = _changed(score)
    for name in set(signs) - set(wanted.courtesy) - changed:
        if played(score, _without(signs, name)) == written(score):
            found.append(f"{name} has {signs[name]} and nobody needs it")
    return found


def _without(signs: Mapping[str, str], name: str) -> dict[str, str]:
    return {other: sign for other, sign in signs.items() if other != name}


def _changed(score: Score) -> set[str]:
    """Notes whose line or space last held another one, be it together with the same."""
    last: dict[tuple[str, int], set[int]] = {}
    found = set()
    for item in score.written:
        now: dict[tuple[str, int], set[int]] = {}
        for pitch, name in zip(item.pitches, item.note_ids, strict=True):
            place = pitch.step, pitch.octave
            now.setdefault(place, set()).add(pitch.alter)
            if last.get(place, {pitch.alter}) != {pitch.alter}:
                found.add(name)
        last |= now
    return found

"""A score as MusicXML 4.0 (W3C Music Notation Community Group, final report 2021).

What the standard has an element for is written with it: pitch, duration, fingering, string, tie,
slur, bowing. The bars have no metre (``senza-misura``), because a drill is played without rhythm.
What a drill asks beyond that (manner, playings, hold, shift, position, guide notes) stands in each
note's ``play`` element as ``other-play``, the standard's place for instructions of a program's own,
so that other programs read the page and ours reads everything back.

Every note carries its id, which engraving keeps, and its accidental where one is printed: programs
that draw read no sign out of a pitch.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from studio.notation.accidentals import with_accidentals
from studio.notation.musicxml.leaf import leaf_of
from studio.notation.score import Accidental, Score, Written
from studio.theory import Pitch
from studio.theory.fingers import MAX_FINGER, position_name

VERSION = "4.0"
DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)
# Written lengths with a note type of their own, in quarter notes; with the number of dots.
TYPES = {
    Fraction(8): ("breve", 0),
    Fraction(6): ("whole", 1),
    Fraction(4): ("whole", 0),
    Fraction(3): ("half", 1),
    Fraction(2): ("half", 0),
    Fraction(3, 2): ("quarter", 1),
    Fraction(1): ("quarter", 0),
    Fraction(3, 4): ("eighth", 1),
    Fraction(1, 2): ("eighth", 0),
    Fraction(1, 4): ("16th", 0),
}
CLEFS = {"violin": ("G", 2), "viola": ("C", 3)}
TREBLE = ("G", 2)
LARGE_STAFF_MM = 10.0  # chosen; a usual staff is about 7 mm high
WORDS_PT, POSITION_PT = 9, 7  # sizes on paper, in points, for programs that read them
HIGH_FOR_ALTO = 74  # a viola's page of notes mostly above D5 reads better in treble clef


def to_musicxml(
    score: Score,
    *,
    figures: Mapping[str, str] | None = None,
    names: bool = True,
    ends: bool = True,
) -> str:
    """The score as a MusicXML document.

    Parameters
    ----------
    score : what to write
    figures : text to stand under a written thing, by its id (measured cents)
    names : whether names of strings and positions, playings and holds stand at the staff
    ends : whether the drill ends here, with a final bar line, and is no leaf of a longer one

    Returns
    -------
    str
        A whole document, with XML declaration and document type.
    """
    root = leaf_of(score, figures) if score.page else _made(score, figures, names, ends)
    indent(root)
    body = tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{DOCTYPE}\n{body}\n'


def _made(score: Score, figures: Mapping[str, str] | None, names: bool, ends: bool) -> Element:
    """A page of what is written."""
    score = with_accidentals(score)
    root = Element("score-partwise", version=VERSION)
    SubElement(SubElement(root, "work"), "work-title").text = score.title
    identification = SubElement(root, "identification")
    SubElement(SubElement(identification, "encoding"), "software").text = "studio"
    if score.large:
        _large(root)
    parts = SubElement(SubElement(root, "part-list"), "score-part", id="P1")
    SubElement(parts, "part-name", {"print-object": "no"}).text = score.instrument.capitalize()
    part = SubElement(root, "part", id="P1")
    divisions = _divisions(score)
    strings = asked = ""
    hand = None
    joins = _joins(score.written)
    first_bar = score.written[0].bar  # not 1 in a leaf of a longer score
    for number, bar in enumerate(score.bars, first_bar):
        measure = SubElement(part, "measure", number=str(number))
        if number == first_bar:
            _attributes(measure, score, divisions)
        for place, item in enumerate(bar):
            if names:
                strings = _strings(measure, bar[place:], strings, score)
                stands = _starting_position(score) if item is score.written[0] else item.position
                hand = _hand(measure, stands, hand)
                asked = _how_often(measure, item, asked)
                if item.words:
                    _words(measure, "above", item.words)
            _notes(measure, item, joins[item.id], divisions, (figures or {}).get(item.id))
    if ends:
        _final_barline(measure)
    return root


def _large(root: Element) -> None:
    """A staff larger than usual, by the standard's own word for it: so many mm for 40 tenths."""
    scaling = SubElement(SubElement(root, "defaults"), "scaling")
    SubElement(scaling, "millimeters").text = f"{LARGE_STAFF_MM:g}"
    SubElement(scaling, "tenths").text = "40"


def _divisions(score: Score) -> int:
    """Divisions of a quarter note in which every length is whole."""
    divisions = 1
    for item in score.written:
        denominator = (item.beats * divisions).denominator
        divisions *= denominator
    return divisions


def _attributes(measure: Element, score: Score, divisions: int) -> None:
    attributes = SubElement(measure, "attributes")
    SubElement(attributes, "divisions").text = str(divisions)
    key = score.spelled_key
    signature = SubElement(attributes, "key")
    SubElement(signature, "fifths").text = str(key.signature if key else 0)
    if key:
        SubElement(signature, "mode").text = key.mode
    SubElement(SubElement(attributes, "time", {"print-object": "no"}), "senza-misura")
    sign, line = clef_of(score)
    clef = SubElement(attributes, "clef")
    SubElement(clef, "sign").text = sign
    SubElement(clef, "line").text = str(line)


def clef_of(score: Score) -> tuple[str, int]:
    """Sign and line of the clef: treble for the violin, alto for the viola unless it lies high."""
    if score.instrument == "viola":
        pitches = sorted(midi for item in score.written for midi in item.midi)
        if pitches[len(pitches) // 2] > HIGH_FOR_ALTO:
            return TREBLE
    return CLEFS[score.instrument]


def _strings(measure: Element, ahead: Sequence[Written], before: str, score: Score) -> str:
    """Letters of the strings at the first note that lies on others; ``ahead`` is the bar's rest.

    The notes of a double stop, separately, lie on its pair. Returns what is now in force.
    """
    item = ahead[0]
    on = item
    if item.manner == "separate":
        on = next((other for other in ahead if len(other.pitches) > 1), item)
    names = _string_names(on, score) or before
    if len(on.pitches) == 1 and set(names.split()) <= set(before.split()):
        return before
    if names != before:
        _words(measure, "above", names)
    return names


def _starting_position(score: Score) -> int | None:
    """Where the hand stands before the first note: open strings wait for what comes after them."""
    for item in score.written:
        if item.position is not None or any(finger != 0 for finger in item.fingers):
            return item.position
    return None


def _hand(measure: Element, stands: int | None, before: int | None) -> int | None:
    """The position where a page begins, and where the hand has moved, across an open string too.

    Returns where it is now.
    """
    if stands is None or stands == before:
        return before
    _words(measure, "below", position_words(stands), POSITION_PT)
    return stands


def position_words(position: int) -> str:
    """A position of the hand as it stands at the staff.

    >>> [position_words(position) for position in (0, 1, 3, 11)]
    ['half pos.', '1st pos.', '3rd pos.', '11th pos.']
    """
    return position_name(position).replace("position", "pos.")


def _how_often(measure: Element, item: Written, before: str) -> str:
    """How often and how long, in words over the staff, where that is not as before.

    Returns what is now in force; empty for once, as long as one likes.
    """
    if item.manner == "separate":
        return before
    times = f"{item.playings} times" if item.playings > 1 else ""
    hold = f"{item.hold_s:g} s" if item.hold_s is not None else ""
    asked = " each ".join(part for part in (times, hold) if part)
    if asked != before:
        _words(measure, "above", asked or "once")
    return asked


def _words(measure: Element, placement: str, text: str, size: int = WORDS_PT) -> None:
    direction = SubElement(measure, "direction", placement=placement)
    kind = SubElement(direction, "direction-type")
    SubElement(kind, "words", {"font-size": str(size), "font-style": "normal"}).text = text


def _final_barline(measure: Element) -> None:
    barline = SubElement(measure, "barline", location="right")
    SubElement(barline, "bar-style").text = "light-heavy"


def _string_names(item: Written, score: Score) -> str:
    """Letters of the strings that it lies on: ``G D``; empty where one is left open."""
    strings = score.player.open_strings
    if any(number is None for number in item.strings):
        return ""
    return " ".join(strings[len(strings) - (number or 1)].step for number in item.strings)


@dataclass(frozen=True, slots=True)
class _Joins:
    """How a written thing joins its neighbours: slurs that stop and start, pitches tied on."""

    slurs: tuple[str, ...]
    tied_on: frozenset[Pitch]


def _joins(written: Sequence[Written]) -> dict[str, _Joins]:
    """A slur ends with the page, and begins anew on the next."""
    found = {}
    slurred = False
    for place, item in enumerate(written):
        following = written[place + 1] if place + 1 < len(written) else None
        goes_on = item.slurred and following is not None
        slurs = ("stop",) * (slurred and not goes_on) + ("start",) * (goes_on and not slurred)
        tied = zip(following.pitches, following.tied, strict=True) if following else ()
        found[item.id] = _Joins(slurs, frozenset(pitch for pitch, is_tied in tied if is_tied))
        slurred = goes_on
    return found


def _notes(
    measure: Element, item: Written, joins: _Joins, divisions: int, figure: str | None
) -> None:
    for place, (pitch, note_id) in enumerate(zip(item.pitches, item.note_ids, strict=True)):
        note = SubElement(measure, "note", id=note_id)
        if place:
            SubElement(note, "chord")
        _pitch(note, pitch)
        SubElement(note, "duration").text = str(int(item.beats * divisions))
        ties = ("stop",) * item.tied[place] + ("start",) * (pitch in joins.tied_on)
        for kind in ties:
            SubElement(note, "tie", type=kind)
        SubElement(note, "voice").text = "1"
        if item.beats in TYPES:
            kind, dots = TYPES[item.beats]
            SubElement(note, "type", {"size": "cue"} if item.guide else {}).text = kind
            for _ in range(dots):
                SubElement(note, "dot")
        _accidental(note, item.accidentals[place])
        _notations(note, item, place, ties, joins.slurs if place == 0 else ())
        if figure and place == 0:
            _figure(note, figure)
        if place == 0:
            _play(note, item)


def _pitch(note: Element, pitch: Pitch) -> None:
    element = SubElement(note, "pitch")
    SubElement(element, "step").text = pitch.step
    if pitch.alter:
        SubElement(element, "alter").text = str(pitch.alter)
    SubElement(element, "octave").text = str(pitch.octave)


def _accidental(note: Element, sign: Accidental | None) -> None:
    if sign is not None:
        marks = dict.fromkeys(sign.marks, "yes")
        SubElement(note, "accidental", marks).text = sign.kind


def _notations(
    note: Element, item: Written, place: int, ties: Sequence[str], slurs: Sequence[str]
) -> None:
    notations = Element("notations")
    for kind in ties:
        SubElement(notations, "tied", type=kind)
    for kind in slurs:
        SubElement(notations, "slur", type=kind, number="1")
    technical = Element("technical")
    if item.bow is not None and place == 0:
        SubElement(technical, f"{item.bow}-bow")
    string, finger = item.strings[place], item.fingers[place]
    if finger is not None:
        assert finger <= MAX_FINGER
        SubElement(technical, "fingering").text = str(finger)
    if string is not None:
        SubElement(technical, "string").text = str(string)
    if len(technical):
        notations.append(technical)
    if len(notations):
        note.append(notations)


def _figure(note: Element, text: str) -> None:
    """The measured figure as a line of text under the staff, where nothing can collide with it."""
    lyric = SubElement(note, "lyric", number="1", placement="below")
    SubElement(lyric, "syllabic").text = "single"
    SubElement(lyric, "text").text = text


def _play(note: Element, item: Written) -> None:
    says = {
        "manner": item.manner,
        "playings": str(item.playings) if item.playings != 1 else None,
        "hold-seconds": f"{item.hold_s:g}" if item.hold_s is not None else None,
        "shift": "yes" if item.shift else None,
        "position": str(item.position) if item.position is not None else None,
        "guide": "yes" if item.guide else None,
        "words": item.words or None,
    }
    play = SubElement(note, "play")
    for name, value in says.items():
        if value is not None:
            SubElement(play, "other-play", type=name).text = value

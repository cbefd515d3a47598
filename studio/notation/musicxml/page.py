"""The page of a file as it came: metre, rests, beams, slurs, bowings, dynamics, fingers and text.

What is followed and judged is a :class:`~studio.notation.Score`, in which only what sounds together
is written. What is *looked at* stays the page that somebody else wrote. So a score from elsewhere
keeps that page with it, as MusicXML of one part:

* made anew from the elements and attributes that are named here, and no others: what a program says
  of its own layout, sounds and fonts stays out, and so does whatever nobody thought of;
* with the ids of what is written at its notes, so that marks and figures find them;
* with every sign before its notes that a player needs, where a file leaves them to its reader.
"""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement, tostring

from studio import figures
from studio.notation.accidentals import KINDS, signature_of
from studio.notation.musicxml.bars import MOST_TIMES
from studio.notation.score import SIGNS

SOFTWARE = "studio, a page from elsewhere"
MAX_TEXT_CHARS = 300  # of one word or line on the page
MAX_DEPTH = 8  # below a note
_CHILDREN = {
    "measure": {"attributes", "note", "backup", "forward", "direction", "barline", "harmony"},
    "attributes": {"divisions", "key", "time", "staves", "clef"},
    "note": {
        *("grace", "cue", "chord", "pitch", "unpitched", "rest", "duration", "tie", "voice"),
        *("type", "dot", "accidental", "time-modification", "stem", "notehead", "staff", "beam"),
        *("notations", "lyric"),
    },
    "notations": {
        *("tied", "slur", "tuplet", "glissando", "slide", "ornaments", "technical"),
        *("articulations", "dynamics", "fermata", "arpeggiate", "non-arpeggiate"),
        "accidental-mark",
    },
    "direction": {"direction-type", "offset", "voice", "staff"},
    "direction-type": {
        *("rehearsal", "segno", "coda", "words", "wedge", "dynamics", "dashes", "bracket"),
        *("pedal", "metronome", "octave-shift"),
    },
    "barline": {"bar-style", "segno", "coda", "fermata", "ending", "repeat"},
    "harmony": {"root", "kind", "bass", "degree", "offset", "staff"},
}
_ATTRIBUTES = {
    *("type", "number", "placement", "orientation", "location", "direction", "times", "slash"),
    *("bracket", "show-number", "show-type", "line-type", "print-object", "cautionary"),
    *("editorial", "parentheses", "implicit", "use-symbols", "spread", "font-style"),
    *("font-weight", "symbol", "size", "text", "niente", "substitution", "alternate", "long"),
}
_STYLED = {"beam": {"number"}, "pitch": set[str](), "rest": {"measure"}}


def kept_page(part: Element, title: str, name: str) -> Element:
    """A page of its own with what this part shows.

    Parameters
    ----------
    part : as it came, transposed to where it sounds; nothing in it is changed
    title, name : of the music, and of the part
    """
    root = Element("score-partwise", version="4.0")
    SubElement(SubElement(root, "work"), "work-title").text = title
    encoding = SubElement(SubElement(root, "identification"), "encoding")
    SubElement(encoding, "software").text = SOFTWARE
    listed = SubElement(SubElement(root, "part-list"), "score-part", id="P1")
    SubElement(listed, "part-name", {"print-object": "no"}).text = name
    page = SubElement(root, "part", id="P1")
    for measure in part.findall("measure"):
        page.append(_kept(measure, 0))
    return root


def _kept(element: Element, depth: int) -> Element:
    """The element with what is shown of it."""
    tag = element.tag
    allowed = _STYLED.get(tag, _ATTRIBUTES)
    made = Element(
        tag,
        {
            name: value[:MAX_TEXT_CHARS]
            for name, value in element.attrib.items()
            if name in allowed and value.isprintable()
        },
    )
    # An engraver writes repeats out, however often: a page says so often at most.
    if figures.whole(made.get("times", "2"), low=2, high=MOST_TIMES) is None:
        del made.attrib["times"]
    text = " ".join((element.text or "").split())[:MAX_TEXT_CHARS]
    if text:
        made.text = "".join(letter if letter.isprintable() else " " for letter in text)
    children = _CHILDREN.get(tag)
    if depth < MAX_DEPTH:
        for child in element:
            if children is None or child.tag in children:
                made.append(_kept(child, depth + 1))
    return made


def numbered(page: Element, numbers: Sequence[int], own: bool) -> None:
    """Give the measures their numbers, where the file's own were not to be used."""
    if not own:
        for measure, number in zip(page.iter("measure"), numbers, strict=True):
            measure.set("number", str(number))


def with_ids(page: Element, ids: Mapping[int, str]) -> None:
    """Give notes their ids, by their place among all ``note`` elements, rests among them."""
    for place, note in enumerate(page.iter("note")):
        if place in ids:
            note.set("id", ids[place])


def with_needed_signs(page: Element) -> None:
    """Put a sign before each note that would be read as another one without it."""
    fifths, divisions = 0, Fraction(1)
    for measure in page.iter("measure"):
        timed: list[tuple[Fraction, int, Element]] = []
        at = Fraction(0)
        for place, element in enumerate(measure):
            if element.tag == "attributes":
                divisions = _positive(element.findtext("divisions"), divisions)
                fifths = figures.whole(
                    element.findtext("key/fifths", "").strip(), low=-7, high=7
                ) or (0 if element.find("key/fifths") is not None else fifths)
            length = _positive(element.findtext("duration"), Fraction(0)) / divisions
            if element.tag == "backup":
                at -= length
            elif element.tag == "forward":
                at += length
            elif element.tag == "note":
                chord = element.find("chord") is not None
                timed.append((at - length if chord else at, place, element))
                at += 0 if chord or element.find("grace") is not None else length
        _sign_bar([note for *_, note in sorted(timed, key=lambda each: each[:2])], fifths)


def _positive(text: str | None, otherwise: Fraction) -> Fraction:
    try:
        found = Fraction((text or "").strip())
    except (ValueError, ZeroDivisionError):
        return otherwise
    return found if found > 0 else otherwise


def _sign_bar(notes: Sequence[Element], fifths: int) -> None:
    clef = signature_of(fifths)
    holds: dict[tuple[str, str, str], int] = {}
    for note in notes:
        step, octave = note.findtext("pitch/step", ""), note.findtext("pitch/octave", "")
        alter = figures.whole(note.findtext("pitch/alter", "0").strip(), low=-2, high=2)
        if not step or alter is None:
            continue
        place = (step, octave, note.findtext("staff", "1"))
        sign = note.find("accidental")
        if sign is not None:
            holds[place] = SIGNS.get((sign.text or "").strip(), alter)
            if holds[place] == alter:
                continue
            note.remove(sign)  # it contradicts the note that is meant
        if any(tie.get("type") == "stop" for tie in note.findall("tie")):
            continue
        if holds.get(place, clef.get(step, 0)) != alter:
            _insert_sign(note, KINDS[alter])
            holds[place] = alter


_AFTER_SIGN = ("time-modification", "stem", "notehead", "staff", "beam", "notations", "lyric")


def _insert_sign(note: Element, kind: str) -> None:
    """Where the standard wants it: behind type and dots."""
    place = next((k for k, child in enumerate(note) if child.tag in _AFTER_SIGN), len(note))
    sign = Element("accidental")
    sign.text = kind
    note.insert(place, sign)


def as_text(page: Element) -> str:
    """What is kept with the score."""
    return tostring(page, encoding="unicode")

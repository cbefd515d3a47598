"""A kept page, or some bars of it, as it is drawn and exported: with fingers, figures and ids.

The page is cut between measures. What is in force where a leaf begins (clef, key, metre, the length
of a division) is said there again, the metre without being printed, and what is cut in two (a slur,
a wedge, a bracket) is left out at both of its ends.
"""

from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import replace
from functools import lru_cache
from xml.etree.ElementTree import Element, SubElement, fromstring, tostring

from studio.figures import whole
from studio.figures.translation import _
from studio.notation.score import FINGERS, NotAScore, Score, Written

_IN_FORCE = ("divisions", "key", "time", "staves", "clef")  # in the standard's order
_PAIRED = ("slur", "wedge", "dashes", "bracket", "octave-shift", "pedal", "glissando", "slide")
_PAIRED_IN_NOTES = ("tuplet",)
_BEGINS, _ENDS = ("start", "crescendo", "diminuendo", "up", "down"), ("stop",)
_BEFORE_LYRIC = ("lyric", "play", "listen")


def leaf_of(score: Score, figures: Mapping[str, str] | None = None) -> Element:
    """The kept page, from the first bar of what is written to the last.

    Parameters
    ----------
    score : with a page, all that is written or a part of it
    figures : text to stand under a written thing, by its id
    """
    root = _parsed(score.page)
    made = Element(root.tag, root.attrib)
    for child in root:
        if child.tag != "part":
            made.append(deepcopy(child))
    part = root.find("part")
    assert part is not None  # it was made by us
    measures = part.findall("measure")
    first, last = _span(measures, score.written)
    page = SubElement(made, "part", part.attrib)
    page.extend(deepcopy(measures[first : last + 1]))
    if first:
        _say_again(page[0], _in_force(measures[:first]))
    _without_halves(page)
    _say_fingers(page, score)
    for ref, text in (figures or {}).items():
        _say_figure(page, score, ref, text)
    return made


def only_bars(score: Score, first: int | None, last: int | None) -> Score:
    """A span of a score's bars as a score of its own; open at an end that is ``None``.

    Raises
    ------
    NotAScore
        Where no note begins in those bars.
    """
    numbers = [item.bar for item in score.written]
    low = numbers[0] if first is None else first
    high = numbers[-1] if last is None else last
    kept = [item for item in score.written if low <= item.bar <= high]
    if not kept:
        raise NotAScore(
            _(
                "bars %(low)s to %(high)s hold no note; the page has bars %(numbers)s to "
                "%(numbers_2)s"
            )
            % {"low": low, "high": high, "numbers": numbers[0], "numbers_2": numbers[-1]}
        )
    there = {item.id for item in kept}
    span = score.with_written(
        [
            replace(item, leads_to=tuple(ref for ref in item.leads_to if ref in there))
            for item in kept
        ]
    )
    span = replace(span, written=(*span.written[:-1], replace(span.written[-1], slurred=False)))
    return replace(span, page=tostring(leaf_of(span), encoding="unicode")) if score.page else span


@lru_cache(maxsize=8)
def _parsed(page: str) -> Element:
    return fromstring(page)  # our own text; nobody changes the tree


def _span(measures: Sequence[Element], written: Sequence[Written]) -> tuple[int, int]:
    """Places of the first and the last measure; bars of rests behind it go along, and any before
    the first of all."""
    here = {name for item in written for name in item.note_ids}
    named = [{note.get("id") for note in measure.iter("note")} - {None} for measure in measures]
    mine = [place for place, names in enumerate(named) if names & here]
    if not mine:
        return 0, len(measures) - 1
    first, last = mine[0], mine[-1]
    if not any(named[:first]):
        first = 0
    while last + 1 < len(measures) and not named[last + 1]:
        last += 1
    return first, last


def _in_force(measures: Sequence[Element]) -> dict[tuple[str, str], Element]:
    """What attributes last said, by their name and the staff that they are of."""
    found: dict[tuple[str, str], Element] = {}
    for measure in measures:
        for attributes in measure.findall("attributes"):
            for child in attributes:
                if child.tag in _IN_FORCE:
                    found[child.tag, child.get("number", "")] = child
    return found


def _say_again(measure: Element, in_force: Mapping[tuple[str, str], Element]) -> None:
    own: dict[tuple[str, str], Element] = {}
    if len(measure) and measure[0].tag == "attributes":
        own = {(child.tag, child.get("number", "")): child for child in measure[0]}
        measure.remove(measure[0])
    attributes = Element("attributes")
    said = {**in_force, **own}
    for name in _IN_FORCE:
        for key in sorted(key for key in said if key[0] == name):
            child = deepcopy(said[key])
            if name == "time" and key not in own:
                child.set("print-object", "no")
            attributes.append(child)
    measure.insert(0, attributes)


def _without_halves(page: Element) -> None:
    """Leave out what begins or ends where the leaf does not reach."""
    waiting: dict[tuple[str, str], tuple[Element, Element]] = {}
    halves: list[tuple[Element, Element]] = []
    for parent in page.iter():
        for child in parent:
            if child.tag not in (*_PAIRED, *_PAIRED_IN_NOTES) or child.get("type") is None:
                continue
            key = child.tag, child.get("number", "1")
            if child.get("type") in _BEGINS:
                if key in waiting:
                    halves.append(waiting[key])
                waiting[key] = parent, child
            elif child.get("type") in _ENDS and waiting.pop(key, None) is None:
                halves.append((parent, child))
    for parent, child in [*halves, *waiting.values()]:
        parent.remove(child)
    for direction in [
        (measure, child) for measure in page for child in measure if child.tag == "direction"
    ]:
        if not any(len(kind) for kind in direction[1].findall("direction-type")):
            direction[0].remove(direction[1])


def _say_fingers(page: Element, score: Score) -> None:
    """The score's fingers and strings at the notes, where they are not the page's own."""
    by_id = {
        name: (item.fingers[place], item.strings[place])
        for item in score.written
        for place, name in enumerate(item.note_ids)
    }
    for note in page.iter("note"):
        said = by_id.get(note.get("id", ""))
        if said is not None:
            for tag, value in zip(("fingering", "string"), said, strict=True):
                _say_technical(note, tag, value)


def _say_technical(note: Element, tag: str, value: int | None) -> None:
    there = note.findall(f"notations/technical/{tag}")
    if value is None:
        for technical in note.findall("notations/technical"):
            for element in technical.findall(tag):
                if _is_read(element.text, tag):  # and was taken away since
                    technical.remove(element)
        return
    if there:
        there[0].text = str(value)
        return
    if note.find("notations") is None:
        _insert(note, Element("notations"))
    for there_now in note.findall("notations")[:1]:
        held = there_now.find("technical")
        holder = SubElement(there_now, "technical") if held is None else held
        SubElement(holder, tag).text = str(value)


def _is_read(text: str | None, tag: str) -> bool:
    number = whole((text or "").strip())
    return number in (FINGERS if tag == "fingering" else range(1, 5))


def _insert(note: Element, element: Element) -> None:
    place = next((k for k, child in enumerate(note) if child.tag in _BEFORE_LYRIC), len(note))
    note.insert(place, element)


def _say_figure(page: Element, score: Score, ref: str, text: str) -> None:
    item = score.find(ref)
    names = item.note_ids if item else ()
    note = next((note for note in page.iter("note") if note.get("id") in names), None)
    if note is None:
        return
    verses = {lyric.get("number", "1") for lyric in page.iter("lyric")}
    number = 1 + max((whole(verse) or 0 for verse in verses), default=0)
    lyric = SubElement(note, "lyric", number=str(min(number, 9)), placement="below")
    SubElement(lyric, "syllabic").text = "single"
    SubElement(lyric, "text").text = text

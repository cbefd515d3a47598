"""A score as engraved pages: SVG in one ink, every written thing with its id and its name.

Verovio does the engraving (LGPL-3). What it draws is then made to stand in a page of ours:

* no style sheet inside, so that a strict content security policy lets it be seen; colour is the
  page's own (``currentColor``), so that it follows light, dark and paper;
* every note, double stop and chord is a focusable element with its id and a name for screen
  readers;
* a measured figure stands under the staff with a small lift: a stroke above a line where the
  interval was wide, below where it was narrow.
"""

import re
import threading
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from xml.etree.ElementTree import Element, SubElement

from studio.figures.translation import _
from studio.notation.musicxml.writing import to_musicxml
from studio.notation.naming import name_of
from studio.notation.score import Score, Written
from studio.notation.text_overlaps import has_overlaps

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"
ElementTree.register_namespace("", SVG)
ElementTree.register_namespace("xlink", XLINK)

# Width of the page in Verovio's units, and the size of the staff in per cent. Where a page is
# shown narrower than it was made, it shrinks with its frame.
LAYOUTS: dict[str, dict[str, int]] = {
    "phone": {"pageWidth": 890, "scale": 40},
    "desk": {"pageWidth": 2400, "scale": 40},
    # For paper each line of music is a page of the engraver's; a sheet ends between two.
    "print": {"pageWidth": 1900, "pageHeight": 100, "scale": 40},
    "incipit": {"pageWidth": 1500, "scale": 40},
    "phone_large": {"pageWidth": 636, "scale": 40},  # 1.4 times a phone's, for a child
}
# Times the usual size, for who has just begun: chosen. A phone's lines hold three bars as it is.
LARGE = {"desk": 1.4, "print": 1.4}
_OPTIONS: dict[str, Any] = {
    "breaks": "auto",
    "header": "none",
    "footer": "none",
    "svgViewBox": True,
    "pageMarginLeft": 30,
    "pageMarginRight": 30,
    "pageMarginTop": 30,
    "pageMarginBottom": 30,
    "spacingSystem": 8,
    "fingeringScale": 0.85,
    # In half staff spaces: what stands over and under the staff keeps clear of it.
    "defaultTopMargin": 1.2,
    "defaultBottomMargin": 0.8,
}
# The engraver goes by a digit's own width, and so draws it against a stem. With a blank on either
# side it takes the digit over the stem.
_BLANK = "\N{NO-BREAK SPACE}"
_FINGERING = re.compile(r"<fingering>(\d)</fingering>")
# The engraver reads no sizes out of MusicXML. A position is smaller than a finger, which is read
# first; letters and words lie between. What is said in words stands over all else at the staff, as
# a tempo does, so that letters further on cannot run into it.
_DIRECTION = re.compile(r"<dir ([^>]*)>\s*<rend ([^>]*)>([^<]*)</rend>\s*</dir>")
_POSITION = re.compile(r"half pos\.|\d+[a-z]{2} pos\.")
_LETTERS = re.compile(r"[A-G](?: [A-G])*")
_POSITION_SIZE, _WORDS_SIZE = "76%", "90%"
# Blanks after words, and whether they stand where their bar begins, instead of over their note:
# tried in turn, until nothing lies on anything.
_WAYS_TO_PLACE = ((1, False), (3, False), (6, False), (10, False), (1, True), (6, True))
_AT = re.compile(r'tstamp="[\d.]+"')
_TRANSLATE = re.compile(r"translate\(([^)]*)\)")
_HEAD_WIDTH = 220  # of a note, in the engraver's units
_BAR_NUMBER_UP = 0.35  # of its size: clear of the clef
# Under what stands below a staff, in its spaces: the position's words stay apart from a figure's
# letters and from its lift at the highest (0.5, the engraver's own, lets them meet).
_UNDER_FIGURES = {"defaultBottomMargin": 1.6}
_STROKED = ("ellipse", "path", "polygon", "polyline", "rect")
_BOLD, _SLANTED = {"fing"}, {"mNum"}
# Stands for a figure while the page is laid out, letter by letter and a lift's width more: the
# engraver would read signs and numbers as verse labels.
_ROOM_LETTER, _LIFT_LETTERS = "n", 4
FULL_LIFT_CENTS = 40.0  # a deviation of this many cents or more is drawn as far as lift goes
_LOCK = threading.Lock()  # Verovio is not made for several threads at once


@dataclass(frozen=True, slots=True)
class Figure:
    """What was measured of a written thing: signed cents, and the text that says so."""

    deviation_cents: float
    text: str


class NotEngraved(RuntimeError):
    """Verovio could not draw the score. What it has to say goes to standard error."""


def engrave(
    score: Score,
    *,
    layout: str = "desk",
    figures: Mapping[str, Figure] | None = None,
    name: Callable[[Written], str] | None = None,
    id_prefix: str = "",
    ends: bool = True,
) -> tuple[str, ...]:
    """The pages of a score.

    Parameters
    ----------
    score : what to draw
    layout : phone, desk, print, phone_large, or incipit for a beginning of a few bars
    figures : measured figures by id of what is written
    name : what a screen reader says of one written thing; its notes, strings and fingers otherwise
    id_prefix : put before the ids of what is written, where a document shows a score more than
        once; ``data-ref`` stays what it is
    ends : whether the drill ends here, with a final bar line

    Returns
    -------
    tuple of str
        One SVG element a page, to be put into HTML as it is. One page, but for print, where it is
        one for each line of music.

    Raises
    ------
    ValueError
        For an unknown layout.
    NotEngraved
        When the engraver fails.
    """
    if layout not in LAYOUTS:
        raise ValueError(f"layout {layout!r} is not known; choose {', '.join(LAYOUTS)}")
    shown = dict(figures or {})
    texts = {
        ref: _ROOM_LETTER * (len(figure.text) + _LIFT_LETTERS) for ref, figure in shown.items()
    }
    document = to_musicxml(score, figures=texts, ends=ends)
    drawn = _draw(document, layout, bool(texts), score.large)
    by_id = {item.id: item for item in score.written}
    named = name or name_of(score)
    return tuple(_dressed(page, by_id, shown, named, id_prefix) for page in drawn)


@lru_cache(maxsize=256)
def _draw(
    musicxml: str, layout: str, has_figures: bool = False, large: bool = False
) -> tuple[str, ...]:
    import verovio  # 8 MB that only engraving needs

    with _LOCK:
        verovio.enableLog(verovio.LOG_WARNING)
        # Verovio keeps its fonts' default place for each thread apart, and knows it in the first.
        toolkit = verovio.toolkit(False)
        toolkit.setResourcePath(str(Path(verovio.__file__).parent / "data"))
        # The same score gives the same page, to the byte; two scores on a page share no id.
        seed = zlib.crc32(f"{layout} {musicxml}".encode()) % 2**31
        # MEI is the engraver's own format: what is set apart there has its room on the page.
        toolkit.setOptions({"xmlIdSeed": seed, "inputFrom": "musicxml", "breaks": "none"})
        _load(toolkit, _FINGERING.sub(rf"<fingering>{_BLANK}\1{_BLANK}</fingering>", musicxml))
        mei = toolkit.getMEI()
        toolkit.setOptions({"inputFrom": "mei", **_options_for(layout, has_figures, large)})
        return _clear_pages(toolkit, mei)


def _clear_pages(toolkit: Any, mei: str) -> tuple[str, ...]:
    """The pages, placed so that no word is on another or on a finger."""
    first: tuple[str, ...] = ()
    for blanks, at_start in _WAYS_TO_PLACE:
        _load(toolkit, _DIRECTION.sub(partial(_set_apart, blanks=blanks, at_start=at_start), mei))
        drawn = tuple(toolkit.renderToSVG(n + 1) for n in range(toolkit.getPageCount()))
        if not any(has_overlaps(page) for page in drawn):
            return drawn
        first = first or drawn
    return first


def _load(toolkit: Any, document: str) -> None:
    if not toolkit.loadData(document):
        raise NotEngraved(_("the engraver could not load the score; its log says why"))


def _options_for(layout: str, has_figures: bool, large: bool) -> dict[str, Any]:
    return {
        "pageHeight": 60000,
        **_OPTIONS,
        **_layout(layout, large),
        **(_UNDER_FIGURES if has_figures else {}),
        "adjustPageHeight": True,
    }


def _layout(layout: str, large: bool) -> dict[str, int]:
    """The page of a layout; on a narrower one, shown as wide, everything is larger."""
    found = dict(LAYOUTS[layout])
    if large:  # thumbnails are of one scale
        found["pageWidth"] = round(found["pageWidth"] / LARGE.get(layout, 1.0))
    return found


def _set_apart(found: re.Match[str], blanks: int, at_start: bool) -> str:
    """Words in their size and order; a blank after each, as a browser's letters may be wider."""
    place, says, words = found.groups()
    size = _POSITION_SIZE if _POSITION.fullmatch(words) else _WORDS_SIZE
    kind = "dir" if _POSITION.fullmatch(words) or _LETTERS.fullmatch(words) else "tempo"
    room = _BLANK * (blanks if kind == "tempo" else 1)
    if at_start and kind == "tempo":
        place = _AT.sub('tstamp="1"', place)
    return f'<{kind} {place}><rend fontsize="{size}" {says}>{words}{room}</rend></{kind}>'


def _dressed(
    svg: str,
    by_id: Mapping[str, Written],
    figures: Mapping[str, Figure],
    name: Callable[[Written], str],
    id_prefix: str,
) -> str:
    root = ElementTree.fromstring(svg)
    _use_page_colour(root)
    reached: set[str] = set()
    inside: set[Element] = set()  # notes of a chord that is one thing
    for group in root.iter(f"{{{SVG}}}g"):
        _set_text(group)
        item = None if group in inside else _written_of(group, by_id)
        if item is None:
            continue
        inside.update(group.iter(f"{{{SVG}}}g"))
        figure = figures.get(item.id)
        if item.id in reached:  # of a page from elsewhere: its notes stand in more than one voice
            group.set("data-ref", item.id)
            continue
        reached.add(item.id)
        _make_reachable(group, item, name(item), id_prefix)
        if figure is not None:
            _show_figure(group, figure)
    return ElementTree.tostring(root, encoding="unicode")


def _use_page_colour(root: Element) -> None:
    """Say with attributes what the removed style sheet said with rules."""
    for parent in list(root.iter()):
        for child in [child for child in parent if _is_hidden(child)]:
            parent.remove(child)
        parent.attrib.pop("color", None)
        kinds = set(parent.get("class", "").split())
        if _tag(parent) in _STROKED and parent.get("stroke") is None:
            parent.set("stroke", "currentColor")
        if kinds & _BOLD:
            parent.set("font-weight", "bold")
        if kinds & _SLANTED:
            parent.set("font-style", "italic")
    root.set("fill", "currentColor")
    root.set("class", "engraved")
    # Chromium keeps a height of its own where only the width is set by the page.
    root.attrib.pop("overflow", None)


def _set_text(group: Element) -> None:
    """Take the blanks from digits and words; lift a bar's number off the clef."""
    kinds = set(group.get("class", "").split())
    for text in group.iter(f"{{{SVG}}}tspan") if kinds & {"fing", "dir", "tempo"} else ():
        text.text = text.text and text.text.strip(_BLANK)
    for text in group.iter(f"{{{SVG}}}text") if "mNum" in kinds else ():
        sizes = [float(span.get("font-size", "0px")[:-2]) for span in text.iter(f"{{{SVG}}}tspan")]
        text.set("y", f"{float(text.get('y', '0')) - _BAR_NUMBER_UP * max(sizes, default=0):.0f}")


def _is_hidden(element: Element) -> bool:
    """The style sheet, and what it hides."""
    return _tag(element) == "style" or "placeholder" in element.get("class", "").split()


def _tag(element: Element) -> str:
    return element.tag.rpartition("}")[2]


def _written_of(group: Element, by_id: Mapping[str, Written]) -> Written | None:
    """The written thing a group stands for: a lone note, or the chord that holds its notes."""
    kinds = group.get("class", "").split()
    if "note" in kinds:
        return _named(group.get("id", ""), by_id)
    if "chord" in kinds:
        names = (note.get("id", "") for note in group if "note" in note.get("class", "").split())
        found = (_named(name, by_id) for name in names)
        return next((item for item in found if item is not None), None)
    return None


def _named(name: str, by_id: Mapping[str, Written]) -> Written | None:
    """What a note on the page is of: by its own id, or as one of several notes."""
    item = by_id.get(name)
    if item is None:
        item = by_id.get(name.rpartition("-")[0])
        return item if item is not None and name in item.note_ids else None
    return item if len(item.pitches) == 1 else None


def _make_reachable(group: Element, item: Written, label: str, id_prefix: str) -> None:
    if len(item.pitches) > 1 and "note" in group.get("class", "").split():
        _put_inside(group)
    if id_prefix:
        for note in group.iter(f"{{{SVG}}}g"):
            if note.get("id") in item.note_ids:
                note.set("id", f"{id_prefix}{note.get('id')}")
    group.set("id", f"{id_prefix}{item.id}")
    group.set("tabindex", "0")
    group.set("role", "img")
    group.set("aria-label", label)
    group.set("data-ref", item.id)
    group.set("class", f"{group.get('class', '')} written")
    _make_pressable(group)


def _put_inside(group: Element) -> None:
    """Let a lone note of a double stop be a group in a group, as a chord's notes are."""
    inner = Element(f"{{{SVG}}}g", dict(group.attrib))
    inner.extend(group)
    for child in list(group):
        group.remove(child)
    group.append(inner)
    group.set("class", "chord")


def _make_pressable(group: Element) -> None:
    """A double stop can be pressed between its heads too."""
    heads = [
        tuple(map(float, found[1].split(",")))
        for use in group.iter(f"{{{SVG}}}use")
        if (found := _TRANSLATE.match(use.get("transform", "")))
    ]
    if len(heads) > 1:
        (left, right), (top, bottom) = ((min(side), max(side)) for side in zip(*heads, strict=True))
        box = {"x": left, "y": top, "width": right - left + _HEAD_WIDTH, "height": bottom - top}
        says = {name: f"{value:.0f}" for name, value in box.items()}
        SubElement(group, f"{{{SVG}}}rect", {**says, "fill-opacity": "0"})


def _show_figure(group: Element, figure: Figure) -> None:
    """Write the figure where room was kept for it, its lift before it."""
    text, words, size = _kept_room(group)
    x, y = float(text.get("x", "0")), float(text.get("y", "0")) - 0.33 * size
    words.text = figure.text
    text.set("x", f"{x + 1.7 * size:.0f}")
    share = max(-1.0, min(1.0, figure.deviation_cents / FULL_LIFT_CENTS))
    lift = SubElement(group, f"{{{SVG}}}g", {"class": "lift", "stroke": "currentColor"})
    _stroke(lift, x, x + 1.5 * size, y, 0.04 * size)
    _stroke(lift, x + 0.3 * size, x + 1.2 * size, y - 0.55 * size * share, 0.16 * size)


def _kept_room(group: Element) -> tuple[Element, Element, float]:
    """The text element kept for a figure, the span with its letters, and their size."""
    for text in group.iter(f"{{{SVG}}}text"):
        for words in text.iter(f"{{{SVG}}}tspan"):
            letters = (words.text or "").strip()
            if letters and set(letters) == {_ROOM_LETTER}:
                return text, words, float(words.get("font-size", "0px")[:-2])
    raise NotEngraved(_("the engraver left no room for a measured figure"))


def _stroke(parent: Element, left: float, right: float, y: float, width: float) -> None:
    SubElement(
        parent,
        f"{{{SVG}}}path",
        {"d": f"M{left:.0f} {y:.0f} L{right:.0f} {y:.0f}", "stroke-width": f"{width:.0f}"},
    )

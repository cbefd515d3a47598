"""The numbers of a part, read strictly: lengths in one division throughout, and alterations.

The standard lets ``divisions`` change within a part and writes lengths and alterations as decimals
(``1.0`` is a sharp). The time reader takes whole numbers alone, reads a decimal as if nothing stood
there, and counts from each division as if it had held from the beginning. So both are put plainly
before it reads: what would otherwise be another note, or at another time, is right or refused.
"""

import re
from fractions import Fraction
from math import lcm
from xml.etree.ElementTree import Element, SubElement

from studio.figures import number
from studio.figures.translation import _
from studio.notation.musicxml.opening import NotMusic
from studio.theory.pitches import MAX_ALTER

MAX_DIVISIONS = 1_000_000  # programs use up to some ten thousand
MAX_QUARTERS = 10_000  # a length beyond is none of a note, nor of a bar
SHOWN_CHARS = 20  # of what is quoted in a sentence
_DECIMAL = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")


def make_plain(part: Element) -> int:
    """Put a part's lengths and alterations as whole numbers.

    Parameters
    ----------
    part : changed in place: one ``divisions`` at its beginning, every ``duration`` in it

    Returns
    -------
    int
        Divisions of a quarter note, 1 to 1,000,000.

    Raises
    ------
    NotMusic
        Naming the bar, what stands there, and what may.
    """
    found: list[tuple[Element, Fraction]] = []
    divisions = Fraction(1)
    for bar, measure in enumerate(part.findall("measure"), 1):
        for element in measure:
            divisions = _division(element, divisions, bar)
            length = element.find("duration")
            if length is not None:
                found.append((length, _length(length, divisions, bar)))
        for alter in measure.iter("alter"):
            alter.text = str(_alteration(alter, bar))
    common = _common_division([length for _rest, length in found])
    for duration, quarters in found:
        duration.text = str(int(quarters * common))
    first = part.find("measure")
    if first is not None:
        attributes = Element("attributes")
        SubElement(attributes, "divisions").text = str(common)
        first.insert(0, attributes)
    return common


def _common_division(lengths: list[Fraction]) -> int:
    """The fewest divisions of a quarter note in which every length is whole."""
    common = 1
    for length in lengths:
        common = lcm(common, length.denominator)
        if common > MAX_DIVISIONS:
            raise NotMusic(
                _(
                    "The lengths of the notes need more than %(max_divisions)s parts of a "
                    "quarter note, which no page does. Export it again."
                )
                % {"max_divisions": number(MAX_DIVISIONS)}
            )
    return common


def _division(element: Element, before: Fraction, bar: int) -> Fraction:
    """The division from this element on, which no longer says one."""
    if element.tag != "attributes":
        return before
    for said in element.findall("divisions"):
        before = _decimal(said, bar)
        if before <= 0:
            raise NotMusic(_sentence(said, bar, _("a number above 0")))
        element.remove(said)
    return before


def _length(element: Element, divisions: Fraction, bar: int) -> Fraction:
    """In quarter notes."""
    length = _decimal(element, bar) / divisions
    if not 0 <= length <= MAX_QUARTERS:
        words = _("0 to %(max_quarters)s quarter notes") % {"max_quarters": number(MAX_QUARTERS)}
        raise NotMusic(_sentence(element, bar, words))
    return length


def _alteration(element: Element, bar: int) -> int:
    alter = _decimal(element, bar)
    if alter.denominator != 1 or abs(alter) > MAX_ALTER:
        words = _("whole semitones, -%(max_alter)s to %(max_alter)s") % {"max_alter": MAX_ALTER}
        raise NotMusic(_sentence(element, bar, words))
    return int(alter)


def _decimal(element: Element, bar: int) -> Fraction:
    text = (element.text or "").strip()
    if not _DECIMAL.fullmatch(text):
        raise NotMusic(_sentence(element, bar, _("a number in digits 0 to 9")))
    return Fraction(text)


def _sentence(element: Element, bar: int, words: str) -> str:
    text = (element.text or "").strip()[:SHOWN_CHARS]
    shown = "".join(letter if letter.isprintable() else "?" for letter in text)
    return _(
        "In bar %(bar)s, %(tag)s is %(value)s; only %(words)s can be read. Correct "
        "the bar and export the page again."
    ) % {
        "bar": bar,
        "tag": element.tag,
        "value": f"“{shown}”" if shown else "empty",
        "words": words,
    }

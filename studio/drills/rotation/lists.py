"""A teacher's own lists as lines of text: keys by lesson, rounds, and what is to be in order.

Lines as they are typed become plain values, and plain values lines that read the same. A lesson is
a line of keys (``G major, G minor``), a round a line of intervals and where they are played
(``octaves, sixths, across the strings, two octaves``). Empty lines count for nothing.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TypeVar

from django.utils.translation import gettext as _

from studio.theory import Key
from studio.translating import gettext_lazy

MAX_LESSONS = 60  # of a round; more than a year of weekly lessons
MAX_KEYS = 6  # of a lesson
MAX_ROUNDS = 12
MAX_LINES = 20  # of what is to be in order
MAX_LINE = 160  # characters

PLACES = {
    "": gettext_lazy("across the strings"),
    "4-3": gettext_lazy("on the two lowest strings"),
    "3-2": gettext_lazy("on the two middle strings"),
    "2-1": gettext_lazy("on the two highest strings"),
}
RANGES = {
    1: gettext_lazy("one octave"),
    2: gettext_lazy("two octaves"),
    3: gettext_lazy("three octaves"),
}
_BETWEEN = re.compile(r"\s*(?:,|;|\+|&|\band\b)\s*")

LessonKeys = tuple[Key, ...]
Line = TypeVar("Line")


class Unreadable(ValueError):
    """A line that cannot be understood; says which, and what to write."""


@dataclass(frozen=True, slots=True)
class RoundSettings:
    """What a round is in (words of intervals), where it is played, and how far (octaves)."""

    intervals: tuple[str, ...]
    strings: str = ""
    octaves: int = 1

    @property
    def line(self) -> str:
        """As a teacher types it; one octave goes without saying."""
        far = [] if self.octaves == 1 else [RANGES[self.octaves]]
        return ", ".join(map(str, [*self.intervals, PLACES[self.strings], *far]))


def lessons_text(lessons: Iterable[Iterable[Key]]) -> str:
    """A line for each lesson, its keys with commas between them."""
    return "\n".join(", ".join(key.written for key in keys) for keys in lessons)


def read_lessons(text: str) -> tuple[LessonKeys, ...]:
    """The keys of each lesson, in the order written.

    Raises
    ------
    Unreadable
        For a word that is no key, a key twice in a lesson, or too many of either.

    Examples
    --------
    >>> [[str(key) for key in keys] for keys in read_lessons("Bb major, g minor")]
    [['Bb major', 'G minor']]
    """
    return _each(text, _lesson, "lessons", MAX_LESSONS)


def _lesson(line: str) -> LessonKeys:
    keys = tuple(_key(part) for part in _parts(line))
    if len(keys) > MAX_KEYS:
        raise Unreadable(
            _("has %(keys)s keys. Write %(max_keys)s at most, and a new line for more")
            % {"keys": len(keys), "max_keys": MAX_KEYS}
        )
    for place, key in enumerate(keys):
        if key in keys[:place]:
            raise Unreadable(_("has %(key)s twice. Take one out") % {"key": key.name})
    return keys


def _key(part: str) -> Key:
    try:
        return Key.parse(part)
    except ValueError as error:
        raise Unreadable(
            _(
                "has “%(part)s”, which is no key. Write it like B flat major or F sharp "
                "minor, with a comma between two keys"
            )
            % {"part": part}
        ) from error


def rounds_text(rounds: Iterable[RoundSettings]) -> str:
    return "\n".join(one.line for one in rounds)


def read_rounds(text: str, known: tuple[str, ...]) -> tuple[RoundSettings, ...]:
    """The settings of each round; ``known`` are the words for intervals, in the studio's order.

    Raises
    ------
    Unreadable
        For a word that is not known, a round without an interval, or too many rounds.
    """
    return _each(text, lambda line: _round(line, known), "rounds", MAX_ROUNDS)


def _round(line: str, known: tuple[str, ...]) -> RoundSettings:
    places = {words: code for code, words in PLACES.items()}
    ranges = {words: count for count, words in RANGES.items()}
    intervals: list[str] = []
    strings, octaves = "", 1
    for part in (found.lower() for found in _parts(line)):
        if part in places:
            strings = places[part]
        elif part in ranges:
            octaves = ranges[part]
        elif part in known:
            intervals.append(part)
        else:
            raise Unreadable(
                _(
                    "has “%(part)s”. Write intervals (%(known)s), where they are played "
                    "(%(places)s) and how far (%(ranges)s)"
                )
                % {
                    "part": part,
                    "known": ", ".join(known),
                    "places": ", ".join(places),
                    "ranges": ", ".join(ranges),
                }
            )
    if not intervals:
        raise Unreadable(
            _("names no interval. Write one of %(known)s") % {"known": ", ".join(known)}
        )
    return RoundSettings(tuple(dict.fromkeys(intervals)), strings, octaves)


def read_lines(text: str) -> tuple[str, ...]:
    """The lines of a list, each once.

    Raises
    ------
    Unreadable
        For a line that is too long, or too many of them.
    """
    return tuple(dict.fromkeys(_each(text, _line, "lines", MAX_LINES)))


def _line(line: str) -> str:
    if len(line) > MAX_LINE:
        raise Unreadable(
            _("has %(line)s characters. Write %(max_line)s at most")
            % {"line": len(line), "max_line": MAX_LINE}
        )
    return line


def _each(text: str, read: Callable[[str], Line], what: str, most: int) -> tuple[Line, ...]:
    """Every line that is not empty, read; what cannot be is said with the number of its line."""
    lines = [
        (number, " ".join(line.split())) for number, line in enumerate(text.splitlines(), start=1)
    ]
    lines = [(number, line) for number, line in lines if line]
    if len(lines) > most:
        raise Unreadable(
            _("These are %(lines)s %(what)s. Write %(most)s at most.")
            % {"lines": len(lines), "what": what, "most": most}
        )
    found = []
    for number, line in lines:
        try:
            found.append(read(line))
        except Unreadable as error:
            raise Unreadable(f"Line {number} {error}.") from error
    return tuple(found)


def _parts(line: str) -> list[str]:
    return [part.strip() for part in _BETWEEN.split(line) if part.strip()]

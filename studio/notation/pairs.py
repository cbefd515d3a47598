"""Double stops by name, as people write them: ``B♭3–B♭4, C4–C5``.

The lower note stands first. Commas, semicolons or blanks divide the double stops; a hyphen or a
dash the notes of one.
"""

import re
from collections.abc import Iterable, Sequence

from studio.figures.translation import N_, _
from studio.notation.request import INTERVALS, MOST_PAIRS
from studio.theory import Interval, Pitch, interval_between

HOW = N_("Write them like B♭3–B♭4, C4–C5")
_AROUND_DASH = re.compile(r"\s*[-–—]\s*")
_BETWEEN = re.compile(r"[\s,;]+")
_WORDS = {number: word for word, number in INTERVALS.items()}


def read_pairs(text: str) -> tuple[tuple[str, str], ...]:
    """The names of the notes, pair by pair.

    >>> read_pairs("B♭3–B♭4, C4 - C5")
    (('Bb3', 'Bb4'), ('C4', 'C5'))

    Raises
    ------
    ValueError
        With a sentence that says what is not understood.
    """
    parts = [part for part in _BETWEEN.split(_AROUND_DASH.sub("-", text.strip())) if part]
    if not 1 <= len(parts) <= MOST_PAIRS:
        raise ValueError(f"{_(HOW)}: 1 to {MOST_PAIRS} of them.")
    return tuple(_read(part) for part in parts)


def _read(part: str) -> tuple[str, str]:
    try:
        low, high = (Pitch.parse(name) for name in part.split("-"))
    except ValueError:
        raise ValueError(f"“{part[:20]}” is not a double stop. {_(HOW)}.") from None
    return str(low), str(high)


def word_for(pairs: Iterable[tuple[str, str]]) -> str:
    """The word for the one interval that they all are: ``octaves``.

    Raises
    ------
    ValueError
        With a sentence, where they are of several, or of one that has no word.
    """
    words = {word_of(Pitch.parse(low), Pitch.parse(high)) for low, high in pairs}
    if len(words) != 1 or None in words:
        raise ValueError(f"All in one interval, which may be: {', '.join(INTERVALS)}.")
    return str(words.pop())


def word_of(low: Pitch, high: Pitch) -> str | None:
    """The word for a pair's interval; ``None`` where it has none."""
    if high.midi < low.midi:
        return None
    size = size_of(low, high)
    return word_of_size(size) if size else None


def word_of_size(size: Interval) -> str | None:
    """The word for an interval as drills name it: ``octaves``; ``None`` where they have none."""
    return _WORDS.get(size.number)


def size_of(low: Pitch, high: Pitch) -> Interval | None:
    """The interval as spelled; ``None`` beyond what has a name."""
    try:
        return interval_between(low, high)
    except ValueError:
        return None


def in_words(pairs: Sequence[tuple[Pitch, Pitch]]) -> str:
    """As they are read: ``B♭3–B♭4, C4–C5``."""
    return ", ".join(f"{low.pretty}–{high.pretty}" for low, high in pairs)

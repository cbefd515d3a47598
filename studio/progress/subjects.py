"""What is asked about: all double stops, each kind of them, and where each was played."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np

from studio.notation.pairs import word_of_size
from studio.theory import Interval
from studio.translating import gettext_lazy

from .playings import Playings

SINGLE_NOTES = gettext_lazy("single notes")
DOUBLE_STOPS = gettext_lazy("double stops")
NO_STRINGS = (0, 0)
WAYS = ("interval", "strings", "key", "position", "fingers")  # a kind can be looked at by


@dataclass(frozen=True, slots=True)
class Subject:
    """What is asked about: ``word`` (octaves) and perhaps where, by one of the others."""

    word: str
    strings: tuple[int, int] = NO_STRINGS
    key: str = ""
    position: int | None = None
    fingers: tuple[int, int] | None = None

    @property
    def is_part(self) -> bool:
        """Whether it is about one place of several."""
        return self != Subject(self.word)

    @property
    def name(self) -> str:
        """What a page's address calls it: ``octaves``, ``octaves-strings-4-3``."""
        if self.strings != NO_STRINGS:
            return f"{self.word}-strings-{self.strings[0]}-{self.strings[1]}"
        if self.key:
            return f"{self.word}-{self.key}"
        if self.position is not None:
            return f"{self.word}-position-{self.position}"
        return (
            f"{self.word}-fingers-{self.fingers[0]}-{self.fingers[1]}"
            if self.fingers
            else self.word
        )


def subjects_in(playings: Playings, by: str) -> Iterator[tuple[Subject, np.ndarray]]:
    """All double stops; each word with all of its rows, then where it was played, if at several."""
    packed = np.ascontiguousarray(playings.rows["short"]).view("<u4")  # four letters as a number
    codes, short = np.unique(packed, return_inverse=True)
    words = [word_for(each.decode()) for each in codes.view("S4")]
    known = sorted({each for each in words if each}, key=_order(words, short))
    if len([word for word in known if word != SINGLE_NOTES]) > 1:
        yield Subject(DOUBLE_STOPS), np.flatnonzero(playings.rows["high"] > 0)
    for word in known:
        of_word = np.flatnonzero(np.array([each == word for each in words])[short])
        yield Subject(word), of_word
        if by != "interval" and word != SINGLE_NOTES:
            yield from _places(playings, word, by, of_word)


def _order(words: list[str | None], short: np.ndarray) -> Callable[[str], tuple[int, str]]:
    many = np.bincount(short, minlength=len(words))
    return lambda word: (
        -sum(int(n) for each, n in zip(words, many, strict=True) if each == word),
        word,
    )


def _places(
    playings: Playings, word: str, by: str, of_word: np.ndarray
) -> Iterator[tuple[Subject, np.ndarray]]:
    if by == "key":
        names = sorted({each.key for each in playings.clips})
        number = {name: at for at, name in enumerate(names)}
        values = playings.of_clips([number[each.key] for each in playings.clips])[of_word]
        named = {at: {"key": name} for at, name in enumerate(names) if name}
    elif by == "position":
        values = playings.rows["position"][of_word].astype(int)
        named = {at: {"position": at} for at in range(128)}
    else:
        pair = playings.rows[by][of_word].astype(int) + 1
        values = pair[:, 0] * 256 + pair[:, 1]
        named = {int(n): {by: (int(n) // 256 - 1, int(n) % 256 - 1)} for n in np.unique(values)}
        nothing = (0, 0) if by == "strings" else (-1, -1)
        named = {n: said for n, said in named.items() if said[by] != nothing}
    found = [n for n in np.unique(values) if int(n) in named]
    if len(found) > 1:
        for n in found:
            yield Subject(word, **named[int(n)]), of_word[values == n]


@cache
def word_for(short: str) -> str | None:
    """The plural for an interval's short name; of nothing the word for single notes.

    >>> word_for("M6"), word_for(""), word_for("A4")
    ('sixths', 'single notes', 'fourths')
    """
    if not short:
        return SINGLE_NOTES
    try:
        return word_of_size(Interval.parse(short))
    except ValueError:
        return None

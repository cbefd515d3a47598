"""Several fingerings of one drill to choose from, each with what it costs the hand."""

from dataclasses import dataclass
from itertools import pairwise

from studio.figures.translation import _
from studio.notation.fingering import FINGERING_WORDS
from studio.notation.generate import generate
from studio.notation.request import Infeasible, Request
from studio.notation.score import Score
from studio.theory.fingers import position_name


@dataclass(frozen=True, slots=True)
class FingeringChoice:
    """A fingering by its word, what it goes for, and what it asks: moves of the hand, its highest
    position, changes to another pair of strings.
    """

    word: str
    why: str
    shifts: int
    crossings: int
    highest: str


def fingering_choices(request: Request) -> list[FingeringChoice]:
    """Those that differ on the page, the one that is asked for among them.

    Where two are alike, the asked one is kept, else the first.
    """
    found: dict[tuple, FingeringChoice] = {}
    words = sorted(FINGERING_WORDS, key=lambda word: word != request.fingering)
    for word in words:
        try:
            score = generate(request.but(fingering=word))
        except Infeasible:
            continue
        held = tuple((item.strings, item.fingers, item.position) for item in score.written)
        found.setdefault(held, _choice(word, score))
    order = list(FINGERING_WORDS)
    return sorted(found.values(), key=lambda choice: order.index(choice.word))


def _choice(word: str, score: Score) -> FingeringChoice:
    places = [item.position for item in score.written if item.position is not None]
    pairs = [item.strings for item in score.written if len(item.pitches) > 1]
    return FingeringChoice(
        word,
        _(FINGERING_WORDS[word]),
        sum(before != after for before, after in pairwise(places)),
        sum(before != after for before, after in pairwise(pairs)),
        position_name(max(places, default=1)),
    )

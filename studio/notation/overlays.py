"""Bowing and rhythm laid over any drill: slurs by 2, 4 or 8, rhythms, strokes.

Conventions (common practice, no source)
----------------------------------------
* Where each bar holds one double stop, and a rhythm or a slur is asked for, the bars are made anew:
  four quarter notes each, the last note filling its bar. Those of a single line always are.
* Where a bar holds what belongs together (a double stop's notes in turn, a chord in two halves), it
  stays, rhythm and slurs begin anew in it, and a slur never leaves it.
* Without a slur every thing written has a bow of its own, but for what a pattern itself slurs.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import cycle

from studio.figures.translation import _
from studio.notation.manners import FREE, RHYTHMS, STROKES
from studio.notation.request import SINGLE_LINES, Request
from studio.notation.score import Score, Written

BAR_BEATS = Fraction(4)
FILLING = tuple(
    Fraction(length, 2) for length in (2, 3, 4, 6, 8)
)  # lengths that a last note can be written in


def overlaid(score: Score, request: Request) -> Score:
    """The drill in the rhythm and with the bowing that the request asks for."""
    written: Sequence[Written] = score.written
    if request.rhythm != FREE or request.slur > 1 or request.pattern in SINGLE_LINES:
        one_a_bar = all(len(bar) == 1 for bar in score.bars)
        laid = _in_metre(written, request) if one_a_bar else _in_place(score.bars, request)
        written = tuple(laid)
    return replace(
        score, title=_titled(score.title, request), written=_bowed_at_first(written, request)
    )


def _titled(title: str, request: Request) -> str:
    said = [
        _(RHYTHMS[request.rhythm].words),
        (_("slurred by %(slur)s") % {"slur": request.slur}) * (request.slur > 1),
    ]
    return ", ".join([title, *filter(None, said)])


def _bowed_at_first(written: Sequence[Written], request: Request) -> tuple[Written, ...]:
    """Bow and stroke are said once, where the drill begins."""
    first, *others = written
    words = ", ".join(filter(None, (first.words, _(STROKES[request.stroke]))))
    return (replace(first, bow=request.first_bow or first.bow, words=words), *others)


def _in_metre(written: Sequence[Written], request: Request) -> Iterator[Written]:
    """Bars of four quarter notes, slurs across them."""
    beats = cycle(RHYTHMS[request.rhythm].beats or (Fraction(1),))
    bar, filled = 1, Fraction(0)
    for place, item in enumerate(written, 1):
        length, is_last = next(beats), place == len(written)
        if is_last and BAR_BEATS - filled in FILLING:
            length = BAR_BEATS - filled
        yield replace(item, bar=bar, beats=length, slurred=_goes_on(place, request) and not is_last)
        filled += length
        if filled >= BAR_BEATS:
            bar, filled = bar + 1, Fraction(0)


def _in_place(bars: Sequence[Sequence[Written]], request: Request) -> Iterator[Written]:
    """The bars as they are, each with the rhythm and its own slurs."""
    for bar in bars:
        beats = cycle(RHYTHMS[request.rhythm].beats or (Fraction(0),))  # 0: as it is
        for place, item in enumerate(bar, 1):
            own = _goes_on(place, request) if request.slur > 1 else item.slurred
            slurred = own and place < len(bar)
            yield replace(item, beats=next(beats) or item.beats, slurred=slurred)


def _goes_on(place: int, request: Request) -> bool:
    return place % request.slur != 0

"""How a drill is played: the order of a double stop's two notes, rhythms, slurs and strokes.

Common practice, no source. A double stop is played separately, then together; the one note first or
the other; only one of them alone; or one held while the other is added.
"""

from dataclasses import dataclass
from fractions import Fraction

from studio.figures.translation import N_

BOTH = (0, 1)
LOWER, UPPER = (0,), (1,)


@dataclass(frozen=True, slots=True)
class Manner:
    """What is played in turn: voices, 0 the lower and 1 the upper.

    ``held`` is the voice that sounds on while the other joins it; ``words`` say it to the pupil.
    """

    parts: tuple[tuple[int, ...], ...]
    words: str
    held: int | None = None


MANNERS = {
    "together": Manner((BOTH,), N_("Play both notes together")),
    "separately_then_together": Manner(
        (LOWER, UPPER, BOTH), N_("Play the lower note alone, then the upper, then both together")
    ),
    "upper_first": Manner(
        (UPPER, LOWER, BOTH), N_("Play the upper note alone, then the lower, then both together")
    ),
    "lower_then_both": Manner((LOWER, BOTH), N_("Play the lower note alone, then both together")),
    "upper_then_both": Manner((UPPER, BOTH), N_("Play the upper note alone, then both together")),
    "both_then_upper": Manner((BOTH, UPPER), N_("Play both notes together, then the upper alone")),
    "both_then_lower": Manner((BOTH, LOWER), N_("Play both notes together, then the lower alone")),
    "hold_lower": Manner((LOWER, BOTH), N_("Hold the lower note and add the upper to it"), held=0),
    "hold_upper": Manner((UPPER, BOTH), N_("Hold the upper note and add the lower to it"), held=1),
}
FINGERS_DOWN = N_("fingers stay down")


@dataclass(frozen=True, slots=True)
class Rhythm:
    """Lengths in quarter notes, over and over; ``words`` name it in a title."""

    beats: tuple[Fraction, ...]
    words: str


def _rhythm(words: str, *beats: str) -> Rhythm:
    return Rhythm(tuple(map(Fraction, beats)), words)


FREE = "free"
RHYTHMS = {
    FREE: Rhythm((), ""),
    "even": _rhythm("even", "1"),
    "dotted": _rhythm("dotted", "3/2", "1/2"),
    "reverse_dotted": _rhythm(N_("short, then dotted"), "1/2", "3/2"),
    "long_short_short": _rhythm(N_("one long, two short"), "2", "1", "1"),
    "short_short_long": _rhythm(N_("two short, one long"), "1", "1", "2"),
}
SLURS = (1, 2, 4, 8)  # notes or double stops to a bow
FIRST_BOWS = ("", "down", "up")
STROKES = {
    "": "",
    "whole_bows": N_("whole bows"),
    "upper_half": N_("upper half of the bow"),
    "middle": N_("middle of the bow"),
    "lower_half": N_("lower half of the bow"),
    "martele": N_("martelé"),
    "spiccato": N_("spiccato"),
}

"""The order in which the two notes of a double stop are played, separately and together.

Common practice, no source: separately, then together; the one first or the other; only one of them
alone; or one held while the other is added.
"""

from dataclasses import dataclass

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
    "together": Manner((BOTH,), "Play both notes together"),
    "separately_then_together": Manner(
        (LOWER, UPPER, BOTH), "Play the lower note alone, then the upper, then both together"
    ),
    "upper_first": Manner(
        (UPPER, LOWER, BOTH), "Play the upper note alone, then the lower, then both together"
    ),
    "lower_then_both": Manner((LOWER, BOTH), "Play the lower note alone, then both together"),
    "upper_then_both": Manner((UPPER, BOTH), "Play the upper note alone, then both together"),
    "both_then_upper": Manner((BOTH, UPPER), "Play both notes together, then the upper alone"),
    "both_then_lower": Manner((BOTH, LOWER), "Play both notes together, then the lower alone"),
    "hold_lower": Manner((LOWER, BOTH), "Hold the lower note and add the upper to it", held=0),
    "hold_upper": Manner((UPPER, BOTH), "Hold the upper note and add the lower to it", held=1),
}
FINGERS_DOWN = "fingers stay down"

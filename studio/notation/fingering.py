"""Strings, fingers and positions for a row of double stops.

For each double stop every pair of neighbouring strings and every grip of the hand
(:mod:`studio.theory.fingers`) is a candidate. The row is fingered as a whole: the cheapest path
through the candidates (dynamic programming; Sayegh 1989, *Computer Music Journal* 13(3), 76-84,
fingers string instruments so). The prices below are choices of this project, set by hand so that
the fingerings of common practice come out (octaves with first and fourth finger moving together,
sixths and thirds kept in one position as long as it lasts); a teacher may change every finger.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from studio.notation.request import Request
from studio.theory import Pitch, string_number
from studio.theory.fingers import Grip, extension_semitones, grips

MAX_STOP_SEMITONES = 24  # two octaves above the open string: about the fingerboard's end
SHIFT = 1.0  # for moving the hand at all
SHIFT_PER_POSITION = 0.3
CROSSING = 0.4  # for going to another pair of strings
HIGH = 0.12  # for each position above the first
HALF_POSITION = 0.8
EXTENSION = 0.25  # for each semitone beyond the hand's frame
OTHER_FINGERS_IN_SHIFT = 0.5  # a shift is surest where the same fingers slide
OPEN_STRING = 0.15  # rings differently from its neighbours


@dataclass(frozen=True, slots=True)
class Placed:
    """A double stop on its strings: ``low_string`` is an index from low to high, and the high note
    lies on the next one."""

    low: Pitch
    high: Pitch
    low_string: int
    grip: Grip
    low_stop: int
    high_stop: int

    @property
    def position(self) -> int | None:
        """Position of the hand, ``None`` where both strings are open."""
        return self.grip.position

    @property
    def fingers(self) -> tuple[int, int]:
        """Fingers of the low and the high note."""
        return self.grip.low_finger, self.grip.high_finger

    def numbers(self, strings: Sequence[Pitch]) -> tuple[int, int]:
        """The player's numbers of the two strings, the lower string first."""
        return string_number(self.low_string, strings), string_number(self.low_string + 1, strings)


def candidates(low: Pitch, high: Pitch, request: Request) -> list[Placed]:
    """Every way to play a double stop within a request."""
    strings = request.player.open_strings
    found = []
    for index in range(len(strings) - 1):
        pair = string_number(index, strings), string_number(index + 1, strings)
        if request.strings is not None and pair != request.strings:
            continue
        low_stop, high_stop = low.midi - strings[index].midi, high.midi - strings[index + 1].midi
        if max(low_stop, high_stop) > MAX_STOP_SEMITONES:
            continue
        if not request.open_strings and (low_stop == 0 or high_stop == 0):
            continue
        for grip in grips(low, high, strings[index], strings[index + 1]):
            found.append(Placed(low, high, index, grip, low_stop, high_stop))
    return found


def finger(
    row: Sequence[tuple[Pitch, Pitch]],
    request: Request,
    ways_of: Callable[[Pitch, Pitch, Request], list[Placed]] = candidates,
) -> list[Placed] | None:
    """The cheapest fingering of a row of double stops; ``None`` where one cannot be played.

    ``ways_of`` gives the ways to play one, where a drill asks for particular fingers.
    """
    best: list[tuple[float, list[Placed]]] = []
    for low, high in row:
        ways = ways_of(low, high, request)
        if not ways:
            return None
        best = [_cheapest(best, way) for way in ways]
    return min(best, key=lambda path: path[0])[1] if best else None


def _cheapest(paths: list[tuple[float, list[Placed]]], way: Placed) -> tuple[float, list[Placed]]:
    if not paths:
        return _holding(way), [way]
    price, path = min(
        ((price + _moving(path[-1], way), path) for price, path in paths), key=lambda it: it[0]
    )
    return price + _holding(way), [*path, way]


def _holding(way: Placed) -> float:
    position = way.position
    if position is None:
        return OPEN_STRING
    price = HIGH * max(0, position - 1) + (HALF_POSITION if position == 0 else 0.0)
    price += OPEN_STRING * (way.low_stop == 0 or way.high_stop == 0)
    return price + EXTENSION * extension_semitones(way.low_stop, way.high_stop)


def _moving(before: Placed, after: Placed) -> float:
    price = CROSSING * abs(before.low_string - after.low_string)
    if before.position is None or after.position is None or before.position == after.position:
        return price
    price += SHIFT + SHIFT_PER_POSITION * abs(before.position - after.position)
    return price + (OTHER_FINGERS_IN_SHIFT if before.fingers != after.fingers else 0.0)


def is_shift(before: Placed | None, after: Placed) -> bool:
    """Whether the hand moves along the string between two double stops."""
    if before is None or before.position is None or after.position is None:
        return False
    return before.position != after.position

"""Strings, fingers and positions for a row of double stops.

For each double stop every pair of neighbouring strings and every grip of the hand
(:mod:`studio.theory.fingers`) is a candidate. The row is fingered as a whole: the cheapest path
through the candidates (dynamic programming; Sayegh 1989, *Computer Music Journal* 13(3), 76-84,
fingers string instruments so). A state is a candidate together with the place of the hand, which
stays where it was while both strings are open.

Unit of every price: what it costs to move the hand at all. The prices are choices of this project,
set by hand so that the fingerings of common practice come out (octaves with first and fourth finger
moving together, sixths and thirds kept in one position as long as it lasts). What they say of the
hand is common practice too, no source. A teacher may choose among :data:`FINGERINGS`, and change
every finger.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from studio.figures.translation import N_
from studio.notation.request import FINGERINGS, Request
from studio.theory import Pitch, string_number
from studio.theory.fingers import (
    COMFORTABLE_SPAN_MM,
    Grip,
    extension_semitones,
    grips,
    stretch_mm,
)

MAX_STOP_SEMITONES = 24  # two octaves above the open string: about the fingerboard's end
SHIFT = 1.0  # the unit: for moving the hand at all
SHIFT_PER_POSITION = 0.3  # the further, the less sure
SHIFT_WHILE_OPEN = 0.5  # share of a shift's price that is left while an open string sounds
OTHER_FINGERS_IN_SHIFT = 0.5  # a shift is surest where the same fingers slide
CROSSING = 0.4  # for going to another pair of strings
HIGH = 0.12  # for each position above the first: stops lie closer and further from home
HALF_POSITION = 0.8  # the hand leaves its usual place for the nut
EXTENSION = 0.25  # for each semitone beyond the hand's frame
STRETCH_PER_MM = 0.08  # for each mm beyond what the hand finds comfortable
OPEN_STRING = 0.15  # rings differently from its neighbours
# One finger across two strings, by finger: it has to lie flat and true on both, which the fourth
# does badly, and in a small hand hardly at all.
ACROSS = {1: 0.3, 2: 0.4, 3: 0.5, 4: 1.6}
FOURTH_ACROSS_IN_SMALL_HAND = 3.0


@dataclass(frozen=True, slots=True)
class Prices:
    """How dear a kind of work is, as a multiple of its price above."""

    shift: float = 1.0
    crossing: float = 1.0
    high: float = 1.0
    open_string: float = 1.0


PRICES = {
    "usual": Prices(),
    "low_positions": Prices(high=12.0),
    "few_shifts": Prices(shift=5.0, high=0.3),
    "few_crossings": Prices(crossing=8.0, high=0.3),
    "open_strings": Prices(open_string=-6.0),
}
FINGERING_WORDS = {  # what each goes for
    "usual": N_("the least work for the hand altogether"),
    "low_positions": N_("as near first position as it can be"),
    "few_shifts": N_("the hand moves as seldom as it can"),
    "few_crossings": N_("stays on a pair of strings as long as it can"),
    "open_strings": N_("open strings wherever there are any"),
}
assert tuple(PRICES) == tuple(FINGERING_WORDS) == FINGERINGS


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
            if (grip.position or 0) <= request.highest_position:
                found.append(Placed(low, high, index, grip, low_stop, high_stop))
    return found


@dataclass(frozen=True, slots=True)
class _Path:
    """The cheapest way so far to a place of the hand."""

    price: float
    hand: int | None  # its position; ``None`` as long as only open strings were played
    stopping: Placed | None  # what it stopped last
    last: Placed
    before: "_Path | None"


def finger(
    row: Sequence[tuple[Pitch, Pitch]],
    request: Request,
    ways_of: Callable[[Pitch, Pitch, Request], list[Placed]] = candidates,
) -> list[Placed] | None:
    """The cheapest fingering of a row of double stops; ``None`` where one cannot be played.

    ``ways_of`` gives the ways to play one, where a drill asks for particular fingers.
    """
    paths: list[_Path] = []
    for low, high in row:
        found = [
            way
            for way in ways_of(low, high, request)
            if (way.position or 0) <= request.highest_position
        ]
        if not found:
            return None
        paths = [path for way in found for path in _paths_to(way, paths, request)]
    return _backwards(min(paths, key=lambda path: path.price)) if paths else None


def _backwards(path: _Path | None) -> list[Placed]:
    row = []
    while path is not None:
        row.append(path.last)
        path = path.before
    return row[::-1]


def _paths_to(way: Placed, paths: Sequence[_Path], request: Request) -> list[_Path]:
    """The cheapest path to a way; one for each place of the hand, where it leaves that alone."""
    holding = _holding(way, request)
    if not paths:
        stopping = way if way.position is not None else None
        return [_Path(holding, way.position, stopping, way, None)]
    prices = PRICES[request.fingering]
    gone = [
        _Path(
            path.price + _moving(path, way, prices) + holding,
            way.position if way.position is not None else path.hand,
            way if way.position is not None else path.stopping,
            way,
            path,
        )
        for path in paths
    ]
    cheapest: dict[int | None, _Path] = {}
    for path in gone:
        known = cheapest.get(path.hand)
        if known is None or path.price < known.price:
            cheapest[path.hand] = path
    return list(cheapest.values())


def _holding(way: Placed, request: Request) -> float:
    """What it costs to stop both notes, wherever the hand came from."""
    prices = PRICES[request.fingering]
    price = OPEN_STRING * prices.open_string * ((way.low_stop == 0) + (way.high_stop == 0))
    if way.position is None:
        return price
    price += prices.high * HIGH * max(0, way.position - 1)
    price += HALF_POSITION * (way.position == 0) + _across(way, request)
    price += EXTENSION * extension_semitones(way.low_stop, way.high_stop)
    span = stretch_mm(way.low_stop, way.high_stop, request.length_mm)
    return price + STRETCH_PER_MM * max(0.0, span - COMFORTABLE_SPAN_MM[request.hand])


def _across(way: Placed, request: Request) -> float:
    """One finger across both strings."""
    low_finger, high_finger = way.fingers
    if low_finger != high_finger or not low_finger:
        return 0.0
    if low_finger == max(ACROSS) and request.hand == "small":
        return FOURTH_ACROSS_IN_SMALL_HAND
    return ACROSS[low_finger]


def _moving(path: _Path, after: Placed, prices: Prices) -> float:
    """What it costs to come from the last double stop, from where the hand really is."""
    price = prices.crossing * CROSSING * abs(path.last.low_string - after.low_string)
    if path.hand is None or after.position is None or path.hand == after.position:
        return price
    moved = SHIFT + SHIFT_PER_POSITION * abs(path.hand - after.position)
    if path.stopping is not None and path.stopping.fingers != after.fingers:
        moved += OTHER_FINGERS_IN_SHIFT
    is_free = 0 in path.last.fingers or 0 in after.fingers
    return price + prices.shift * moved * (SHIFT_WHILE_OPEN if is_free else 1.0)


def is_shift(before: Placed | None, after: Placed) -> bool:
    """Whether the hand moves along the string between two double stops."""
    if before is None or before.position is None or after.position is None:
        return False
    return before.position != after.position

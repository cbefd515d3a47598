"""Drills made to order: from a :class:`Request` to a :class:`Score`, or to the reason why not.

A scale begins on the lowest tonic that the lower voice can take, in the lower voice. When a request
cannot be played, :class:`Infeasible` says what stands in the way and carries the nearest request
that can: fewer octaves first, then across the strings, then with open strings, then another
interval.
"""

from collections.abc import Callable, Iterator

from studio.notation.assembly import Assembly
from studio.notation.degrees import double_stops, scale_names
from studio.notation.fingering import MAX_STOP_SEMITONES, Placed, candidates, finger
from studio.notation.patterns import chords, one_finger, pairs, third_finger_check
from studio.notation.request import INTERVALS, Infeasible, Request
from studio.notation.score import Score
from studio.theory import Pitch

_OCTAVES = {1: "one octave", 2: "two octaves", 3: "three octaves"}
_NEXT_INTERVALS = ("octaves", "sixths", "thirds", "tenths", "fourths", "fifths")


def generate(request: Request) -> Score:
    """The drill that a request asks for.

    Parameters
    ----------
    request : what is asked

    Returns
    -------
    Score
        Every double stop lies on neighbouring strings, within the fingerboard, spelled in the
        key, and is fingered.

    Raises
    ------
    Infeasible
        With the reason and the nearest request that can be played.
    """
    score = _try(request)
    if score is not None:
        return score
    nearest = next((other for other in _alternatives(request) if _try(other) is not None), None)
    raise Infeasible(_reason(request), nearest)


def is_feasible(request: Request) -> bool:
    """Whether a request can be played as it is."""
    return _try(request) is not None


def _try(request: Request) -> Score | None:
    return _MAKERS[request.pattern](request)


def _scale(request: Request) -> Score | None:
    key = request.spelled_key
    ways = {
        way: scale_names(key, request.minor, "down" if way == "down" else "up")
        for way in ("up", "down")
    }
    for tonic in _tonics(request):
        up, down = double_stops(tonic, request.number, request.octaves, ways["up"], ways["down"])
        row = {"up": up, "down": down, "up_and_down": [*up, *down[1:]]}[request.direction]
        placed = finger(row, request)
        if placed is not None:
            return _write(request, placed)
    return None


def _tonics(request: Request) -> Iterator[Pitch]:
    """Tonics from the lowest on; a drill on two strings needs no other than they can hold."""
    strings = request.player.open_strings
    name = request.spelled_key.tonic
    for octave in range(2, 7):
        tonic = Pitch.parse(f"{name}{octave}")
        highest = tonic.midi + 12 * request.octaves
        if tonic.midi >= strings[0].midi and highest <= strings[-1].midi + MAX_STOP_SEMITONES:
            yield tonic


def _write(request: Request, placed: list[Placed]) -> Score | None:
    assembly = Assembly(request)
    for way in placed:
        assembly.double_stop(way)
    return assembly.score(_title(request))


def _title(request: Request) -> str:
    key = request.spelled_key
    form = f", {request.minor}" if key.mode == "minor" else ""
    where = f", {_where(request)}" if request.strings else ""
    return f"{key.name}{form} in {request.interval}, {_OCTAVES[request.octaves]}{where}"


def _where(request: Request) -> str:
    """The strings by the letters players call them."""
    if request.strings is None:
        return "on neighbouring strings"
    strings = request.player.open_strings
    low, high = (strings[len(strings) - number].step for number in request.strings)
    return f"on the {low} and {high} strings"


_MAKERS: dict[str, Callable[[Request], Score | None]] = {
    "scale": _scale,
    "pairs": pairs,
    "one_finger": one_finger,
    "third_finger_check": third_finger_check,
    "chords": chords,
}


def _alternatives(request: Request) -> Iterator[Request]:
    """Other requests, the nearest first."""
    if request.pattern == "pairs":
        yield from _for_pairs(request)
        return
    for octaves in range(request.octaves - 1, 0, -1):
        yield request.but(octaves=octaves)
    if request.strings is not None:
        for octaves in range(request.octaves, 0, -1):
            yield request.but(octaves=octaves, strings=None)
    if not request.open_strings:
        yield request.but(open_strings=True, octaves=1, strings=None)
    for interval in _NEXT_INTERVALS:
        yield request.but(interval=interval, octaves=1, strings=None, open_strings=True)


def _for_pairs(request: Request) -> Iterator[Request]:
    """The same pairs on any strings; else a scale in their interval."""
    yield request.but(strings=None, open_strings=True)
    yield request.but(pattern="scale", pairs=(), strings=None, open_strings=True, octaves=1)


def _reason(request: Request) -> str:
    if request.pattern == "pairs":
        return f"{_unplaced(request)} cannot be played {_where(request)} of a {request.instrument}."
    if request.pattern != "scale":
        return f"On a {request.instrument}, this pattern has no playable place in {request.key}."
    obstacle = _obstacle(request)
    return (
        f"{request.spelled_key.name} in {request.interval}, {_OCTAVES[request.octaves]}, cannot be "
        f"played {_where(request)} of a {request.instrument}: {obstacle}"
    )


def _obstacle(request: Request) -> str:
    """The first double stop without a place, from the tonic that gets furthest."""
    names = scale_names(request.spelled_key, request.minor, "up")
    furthest, stuck = -1, ""
    for tonic in _tonics(request):
        up, _ = double_stops(tonic, request.number, request.octaves, names, names)
        for degree, (low, high) in enumerate(up):
            if not candidates(low, high, request):
                if degree > furthest:
                    furthest, stuck = degree, f"{low.pretty} with {high.pretty} has no place there."
                break
    return stuck or "its tonic lies outside those strings."


def _unplaced(request: Request) -> str:
    """The named pair that has no place."""
    stuck = (pair for pair in request.double_stops if not candidates(*pair, request))
    return " with ".join(pitch.pretty for pitch in next(stuck))


def intervals() -> tuple[str, ...]:
    """The words for the intervals a scale can be in."""
    return tuple(INTERVALS)

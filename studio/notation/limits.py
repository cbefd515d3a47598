"""Why a scale cannot be played as asked: the limit that bites, in words.

Each limit of a request is taken away alone. The first without which the scale can be played is what
stood in the way; it is named with the double stop that needs more. Where no single one helps, the
first double stop without a place is named.
"""

from collections.abc import Callable, Iterator

from studio.notation.degrees import double_stops, scale_names
from studio.notation.fingering import candidates
from studio.notation.request import OCTAVE_WORDS, Request
from studio.notation.tonics import starts
from studio.theory import Pitch
from studio.theory.fingers import MAX_POSITION

_NTH = {1: "first", 2: "second", 3: "third"}


def limit_of(request: Request, is_feasible: Callable[[Request], bool]) -> str:
    """A sentence that names the limit of a scale that cannot be played."""
    for freed, sentence in _limits(request):
        if is_feasible(freed):
            return sentence
    stuck = _stuck(request)
    if stuck is None:
        return f"{_name(request)} begins on no string that the request allows."
    _, low, high = stuck
    if together := list(_together(request)):
        return (
            f"{_name(request)} {' and '.join(together)}: {_pair(low, high)} have no place there, "
            "and no single limit less would give them one."
        )
    return (
        f"{_name(request)}: {_pair(low, high)} have no place on neighbouring strings of a "
        f"{request.instrument} within reach of one hand."
    )


def _together(request: Request) -> Iterator[str]:
    """The limits of a request, where no single one is what stands in the way."""
    if request.octaves > 1:
        yield f"over {OCTAVE_WORDS[request.octaves]}"
    if request.strings is not None:
        yield f"on the {_letters(request)} strings"
    if not request.open_strings:
        yield "without open strings"
    if request.highest_position < MAX_POSITION:
        yield f"up to position {request.highest_position}"


def position_needed(request: Request, is_feasible: Callable[[Request], bool]) -> int | None:
    """The lowest highest position with which a request can be played, if there is one."""
    for position in range(request.highest_position + 1, MAX_POSITION + 1):
        if is_feasible(request.but(highest_position=position)):
            return position
    return None


def _limits(request: Request) -> Iterator[tuple[Request, str]]:
    """The request without one of its limits, and what is said if that is enough."""
    stuck = _stuck(request)
    at = f": {_pair(*stuck[1:])} have no place there" if stuck else ""
    octave = _NTH[min(3, 1 + max(0, stuck[0] - 1) // 7)] if stuck else _NTH[1]
    if request.highest_position < MAX_POSITION:
        yield (
            request.but(highest_position=MAX_POSITION),
            f"Highest position {request.highest_position} is too low for the {octave} octave of "
            f"{_name(request)}{at}.",
        )
    if request.strings is not None:
        yield (
            request.but(strings=None),
            f"The {_letters(request)} strings alone are too few for {_name(request)}{at}.",
        )
    if not request.open_strings:
        yield (
            request.but(open_strings=True),
            f"{_name(request)} needs an open string{at}.",
        )
    if request.start:
        yield (
            request.but(start=0),
            f"{_name(request)} cannot begin on degree {request.start} of the key{at}.",
        )
    for octaves in range(request.octaves - 1, 0, -1):
        yield (
            request.but(octaves=octaves),
            f"{OCTAVE_WORDS[request.octaves].capitalize()} are more than the fingerboard has for "
            f"{_name(request)}{at}.",
        )


def _stuck(request: Request) -> tuple[int, Pitch, Pitch] | None:
    """Step and notes of the first double stop without a place, of the start that gets furthest."""
    names = scale_names(request.spelled_key, request.minor, "up")
    furthest: tuple[int, Pitch, Pitch] | None = None
    for start in starts(request):
        up, _ = double_stops(start, request.number, request.octaves, names, names)
        for step, (low, high) in enumerate(up):
            if not candidates(low, high, request):
                if furthest is None or step > furthest[0]:
                    furthest = step, low, high
                break
    return furthest


def _name(request: Request) -> str:
    return f"{request.spelled_key.name} in {request.interval}"


def _pair(low: Pitch, high: Pitch) -> str:
    return f"{low.pretty} and {high.pretty}"


def _letters(request: Request) -> str:
    assert request.strings is not None
    strings = request.player.open_strings
    return " and ".join(strings[len(strings) - number].step for number in request.strings)

"""Why a scale cannot be played as asked: the limit that bites, in words.

Each limit of a request is taken away alone. The first without which the scale can be played is what
stood in the way; it is named with the double stop that needs more. Where no single one helps, the
first double stop without a place is named.
"""

from collections.abc import Callable, Iterator

from studio.figures.translation import _
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
        return _("%(request)s begins on no string that the request allows.") % {
            "request": _name(request)
        }
    _rest, low, high = stuck
    if together := list(_together(request)):
        return _(
            "%(request)s %(together)s: %(low)s have no place there, and no single limit"
            " less would give them one."
        ) % {"request": _name(request), "together": " and ".join(together), "low": _pair(low, high)}
    return _(
        "%(request)s: %(low)s have no place on neighbouring strings of a "
        "%(instrument)s within reach of one hand."
    ) % {"request": _name(request), "low": _pair(low, high), "instrument": request.instrument}


def _together(request: Request) -> Iterator[str]:
    """The limits of a request, where no single one is what stands in the way."""
    if request.octaves > 1:
        yield f"over {_(OCTAVE_WORDS[request.octaves])}"
    if request.strings is not None:
        yield _("on the %(request)s strings") % {"request": _letters(request)}
    if not request.open_strings:
        yield _("without open strings")
    if request.highest_position < MAX_POSITION:
        yield _("up to position %(highest_position)s") % {
            "highest_position": request.highest_position
        }


def position_needed(request: Request, is_feasible: Callable[[Request], bool]) -> int | None:
    """The lowest highest position with which a request can be played, if there is one."""
    for position in range(request.highest_position + 1, MAX_POSITION + 1):
        if is_feasible(request.but(highest_position=position)):
            return position
    return None


def _limits(request: Request) -> Iterator[tuple[Request, str]]:
    """The request without one of its limits, and what is said if that is enough."""
    stuck = _stuck(request)
    at = _(": %(pair)s have no place there") % {"pair": _pair(*stuck[1:])} if stuck else ""
    octave = _NTH[min(3, 1 + max(0, stuck[0] - 1) // 7)] if stuck else _NTH[1]
    if request.highest_position < MAX_POSITION:
        yield (
            request.but(highest_position=MAX_POSITION),
            _(
                "Highest position %(highest_position)s is too low for the %(octave)s octave"
                " of %(request)s%(at)s."
            )
            % {
                "highest_position": request.highest_position,
                "octave": octave,
                "request": _name(request),
                "at": at,
            },
        )
    if request.strings is not None:
        yield (
            request.but(strings=None),
            _("The %(request)s strings alone are too few for %(request_2)s%(at)s.")
            % {"request": _letters(request), "request_2": _name(request), "at": at},
        )
    if not request.open_strings:
        yield (
            request.but(open_strings=True),
            _("%(request)s needs an open string%(at)s.") % {"request": _name(request), "at": at},
        )
    if request.start:
        yield (
            request.but(start=0),
            _("%(request)s cannot begin on degree %(start)s of the key%(at)s.")
            % {"request": _name(request), "start": request.start, "at": at},
        )
    for octaves in range(request.octaves - 1, 0, -1):
        yield (
            request.but(octaves=octaves),
            _("%(capitalize)s are more than the fingerboard has for %(request)s%(at)s.")
            % {
                "capitalize": _(OCTAVE_WORDS[request.octaves]).capitalize(),
                "request": _name(request),
                "at": at,
            },
        )


def _stuck(request: Request) -> tuple[int, Pitch, Pitch] | None:
    """Step and notes of the first double stop without a place, of the start that gets furthest."""
    names = scale_names(request.spelled_key, request.minor, "up")
    furthest: tuple[int, Pitch, Pitch] | None = None
    for start in starts(request):
        up, _rest = double_stops(start, request.number, request.octaves, names, names)
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

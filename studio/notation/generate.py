"""Drills made to order: from a :class:`Request` to a :class:`Score`, or to the reason why not.

A scale begins where :mod:`studio.notation.tonics` says, in the lower voice. When a request cannot
be played, :class:`Infeasible` says which limit stands in the way and carries the nearest request
that can: fewer octaves first, then a higher position, then across the strings, then with open
strings, then another interval.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace

from studio.figures.translation import N_, _
from studio.notation.arpeggios import APART, arpeggio, chromatic
from studio.notation.assembly import Assembly
from studio.notation.chords import chords, inversions
from studio.notation.degrees import double_stops, scale_names
from studio.notation.fingering import Placed, candidates, finger
from studio.notation.first_steps import (
    drone_above,
    drone_below,
    first_octaves,
    fourth_finger_check,
)
from studio.notation.limits import limit_of, position_needed
from studio.notation.overlays import overlaid
from studio.notation.patterns import one_finger, pairs, ringing_octaves, third_finger_check
from studio.notation.progressions import mixed, resolutions
from studio.notation.request import FIRST_STEPS, INTERVALS, OCTAVE_WORDS, Infeasible, Request
from studio.notation.score import Score
from studio.notation.shifting import fingered_octaves, shifting
from studio.notation.single_line import one_string
from studio.notation.tonics import in_direction, starts
from studio.theory import Pitch
from studio.theory.fingers import MAX_POSITION

CHORDAL = ("chords", "inversions")
RANGED = ("mixed", "arpeggio", "chromatic", "fingered_octaves")
PATTERN_WORDS = {  # what cannot be played, with the word for its interval
    "one_finger": N_("one finger across two strings"),
    "third_finger_check": N_("the third finger against the open string"),
    "ringing_octaves": N_("ringing octaves"),
    "drone_above": N_("fingers under an open string"),
    "drone_below": N_("fingers over an open string"),
    "fourth_finger_check": N_("the fourth finger against the next open string"),
    "first_octaves": N_("first octaves"),
    "shifting": "{}, shifting",
    "mixed": N_("mixed intervals"),
    "resolutions": N_("this resolution"),
    "arpeggio": N_("an arpeggio in {}"),
    "chromatic": "a chromatic scale in {}",
    "fingered_octaves": N_("fingered octaves"),
}
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
    score = _MAKERS[request.pattern](request)
    if score is None:
        return None
    return replace(overlaid(score, request), large=request.pattern in FIRST_STEPS)


def _scale(request: Request) -> Score | None:
    key = request.spelled_key
    ways = {
        way: scale_names(key, request.minor, "down" if way == "down" else "up")
        for way in ("up", "down")
    }
    for start in starts(request):
        up, down = double_stops(start, request.number, request.octaves, ways["up"], ways["down"])
        placed = finger(in_direction(up, request, down), request)
        if placed is not None:
            return _write(request, placed)
    return None


def _write(request: Request, placed: list[Placed]) -> Score | None:
    assembly = Assembly(request)
    for way in placed:
        assembly.double_stop(way)
    return assembly.score(
        _title(request, min((way.low for way in placed), key=lambda low: low.midi))
    )


def _title(request: Request, lowest: Pitch) -> str:
    """``A melodic minor in sixths, two octaves``; what goes without saying is not said."""
    key = request.spelled_key
    begins = lowest.pretty[:-1]
    said = [f"{request.scale_name} in {request.interval}"]
    said += [f"from {begins}"] if lowest.pitch_class_name != key.tonic else []
    said += [_(OCTAVE_WORDS[request.octaves])] if request.octaves > 1 else []
    said += [_where(request)] if request.strings else []
    return ", ".join(said)


def _where(request: Request) -> str:
    """The strings by the letters players call them."""
    if request.strings is None:
        return _("on neighbouring strings")
    strings = request.player.open_strings
    low, high = (strings[len(strings) - number].step for number in request.strings)
    return _("on the %(low)s and %(high)s strings") % {"low": low, "high": high}


_MAKERS: dict[str, Callable[[Request], Score | None]] = {
    "scale": _scale,
    "pairs": pairs,
    "one_finger": one_finger,
    "third_finger_check": third_finger_check,
    "ringing_octaves": ringing_octaves,
    "shifting": shifting,
    "mixed": mixed,
    "resolutions": resolutions,
    "arpeggio": arpeggio,
    "chromatic": chromatic,
    "fingered_octaves": fingered_octaves,
    "one_string": one_string,
    "chords": chords,
    "inversions": inversions,
    "drone_above": drone_above,
    "drone_below": drone_below,
    "fourth_finger_check": fourth_finger_check,
    "first_octaves": first_octaves,
}


def _alternatives(request: Request) -> Iterator[Request]:
    """Other requests, the nearest first."""
    if request.pattern == "pairs":
        yield from _for_pairs(request)
        return
    if request.parts == 4 and request.pattern in CHORDAL:
        yield request.but(parts=3)
    for octaves in range(request.octaves - 1, 0, -1):
        yield request.but(octaves=octaves)
    yield from _higher(request)
    if request.strings is not None:
        for octaves in range(request.octaves, 0, -1):
            yield request.but(octaves=octaves, strings=None)
    if not request.open_strings:
        yield request.but(open_strings=True, octaves=1, strings=None)
    for interval in _NEXT_INTERVALS:
        free = request.but(interval=interval, octaves=1, strings=None, open_strings=True, start=0)
        yield free
        yield from _higher(free)


def _higher(request: Request) -> Iterator[Request]:
    """The same with the hand allowed as high as it has to go, and no higher."""
    position = position_needed(request, is_feasible)
    if position is not None:
        yield request.but(highest_position=position)


def _for_pairs(request: Request) -> Iterator[Request]:
    """The same pairs on any strings; else a scale in their interval."""
    yield request.but(strings=None, open_strings=True)
    yield request.but(pattern="scale", pairs=(), strings=None, open_strings=True, octaves=1)


def _reason(request: Request) -> str:
    if request.pattern == "pairs":
        return _("%(request)s cannot be played %(request_2)s of a %(instrument)s.") % {
            "request": _unplaced(request),
            "request_2": _where(request),
            "instrument": request.instrument,
        }
    if request.pattern != "scale":
        return _reason_of_pattern(request)
    return limit_of(request, is_feasible)


def _reason_of_pattern(request: Request) -> str:
    if request.pattern == "arpeggio" and request.number not in APART:
        return _("An arpeggio goes in thirds, sixths, octaves or tenths.")
    key, on = (
        request.spelled_key.name,
        _("of a %(instrument)s") % {"instrument": request.instrument},
    )
    if request.pattern == "one_string":
        strings = request.player.open_strings
        string = strings[len(strings) - request.string].step
        octaves = _(OCTAVE_WORDS[request.octaves])
        if is_feasible(request.but(highest_position=MAX_POSITION)):
            return _(
                "Highest position %(highest_position)s is too low for %(octaves)s of "
                "%(key)s on the %(string)s string."
            ) % {
                "highest_position": request.highest_position,
                "octaves": octaves,
                "key": key,
                "string": string,
            }
        return _(
            "%(capitalize)s from %(key)s’s lowest note go beyond the %(string)s string %(on)s."
        ) % {"capitalize": octaves.capitalize(), "key": key, "string": string, "on": on}
    if request.pattern in CHORDAL:
        return _(
            "In %(key)s, no chord of %(parts)s notes lies in one hand on the strings %(on)s."
        ) % {"key": key, "parts": request.parts, "on": on}
    if is_feasible(request.but(highest_position=MAX_POSITION)):
        return _("Highest position %(highest_position)s is too low for %(key)s: %(interval)s.") % {
            "highest_position": request.highest_position,
            "key": key,
            "interval": _(PATTERN_WORDS[request.pattern]).format(request.interval),
        }
    words = _(PATTERN_WORDS[request.pattern]).format(request.interval)
    octaves = f", {_(OCTAVE_WORDS[request.octaves])}" if request.pattern in RANGED else ""
    return _("%(key)s: %(words)s%(octaves)s, cannot be played %(request)s %(on)s.") % {
        "key": key,
        "words": words,
        "octaves": octaves,
        "request": _where(request),
        "on": on,
    }


def _unplaced(request: Request) -> str:
    """The named pair that has no place."""
    stuck = (pair for pair in request.double_stops if not candidates(*pair, request))
    return " with ".join(pitch.pretty for pitch in next(stuck))


def intervals() -> tuple[str, ...]:
    """The words for the intervals a scale can be in."""
    return tuple(INTERVALS)

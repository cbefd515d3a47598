"""Shifts: one interval from position to position with guide notes; fingered octaves.

Guide notes (common practice, no source): the finger nearest the nut leads the hand and is heard
alone at the goal before the other joins it. Fingered octaves take first with third and second with
fourth finger in turn, two steps in each position.
"""

from collections.abc import Iterator

from studio.figures.translation import _
from studio.notation.assembly import Assembly
from studio.notation.degrees import double_stops, scale_names, step_up
from studio.notation.fingering import MAX_STOP_SEMITONES, Placed, candidates, finger
from studio.notation.request import OCTAVE_WORDS, Request
from studio.notation.score import Score
from studio.notation.tonics import in_direction, tonics
from studio.theory import Pitch, string_number
from studio.theory.fingers import Grip, letters_above

FIRST_POSITION = 1
STEPS_ON_ONE_PAIR, STEPS_ON_EACH = 7, 4  # of the scale away from home: chosen
# Chosen: nearer the nut an octave lies too wide for fingers next but one to each other.
LOWEST_FINGERED_OCTAVE = 3  # position
_FINGERED = ((1, 3), (2, 4))


def shifting(request: Request) -> Score | None:
    """From first position to each next one and back, with the same fingers on the same strings."""
    names = scale_names(request.spelled_key, "harmonic", "up")
    steps = STEPS_ON_EACH if request.strings is None else STEPS_ON_ONE_PAIR
    assembly = Assembly(request)
    for home in _homes(names, request):
        goals = [_moved(home, step, names, request) for step in range(1, steps + 1)]
        reached = [way for way in goals if way is not None]
        if not reached:
            continue
        assembly.alone(home)
        for way in reached:
            assembly.led(way)
            assembly.led(home)
    key = request.spelled_key.name
    return assembly.score(
        _("%(key)s: %(interval)s, shifting with guide notes")
        % {"key": key, "interval": request.interval}
    )


def _homes(names: tuple[str, ...], request: Request) -> Iterator[Placed]:
    """On each pair of strings, the lowest double stop in first position with both notes stopped."""
    strings = request.player.open_strings
    for index in range(len(strings) - 1):
        pair = string_number(index, strings), string_number(index + 1, strings)
        if request.strings not in (None, pair):
            continue
        letter = step_up(strings[index], 0, names)
        for step in range(8):
            low = step_up(letter, step, names)
            ways = _stopped(low, step_up(low, request.number - 1, names), index, request)
            home = next((way for way in ways if way.position == FIRST_POSITION), None)
            if home is not None:
                yield home
                break


def _stopped(low: Pitch, high: Pitch, index: int, request: Request) -> list[Placed]:
    return [
        way
        for way in candidates(low, high, request)
        if way.low_string == index and 0 not in way.fingers
    ]


def _moved(home: Placed, step: int, names: tuple[str, ...], request: Request) -> Placed | None:
    """The double stop some steps above, with home's fingers; ``None`` where they do not fit."""
    low, high = step_up(home.low, step, names), step_up(home.high, step, names)
    ways = _stopped(low, high, home.low_string, request)
    return next((way for way in ways if way.fingers == home.fingers), None)


def fingered_octaves(request: Request) -> Score | None:
    """A scale in octaves with first and third, second and fourth finger in turn."""
    key = request.spelled_key
    ways = {
        way: scale_names(key, request.minor, "down" if way == "down" else "up")
        for way in ("up", "down")
    }
    for tonic in tonics(request):
        up, down = double_stops(tonic, 8, request.octaves, ways["up"], ways["down"])
        placed = finger(in_direction(up, request, down), request, _fingered)
        if placed is not None:
            assembly = Assembly(request)
            for way in placed:
                assembly.double_stop(way)
            octaves = _(OCTAVE_WORDS[request.octaves])
            return assembly.score(
                _("%(scale_name)s in fingered octaves, %(octaves)s")
                % {"scale_name": request.scale_name, "octaves": octaves}
            )
    return None


def _fingered(low: Pitch, high: Pitch, request: Request) -> list[Placed]:
    """An octave with neighbouring strings' fingers next but one, above the lowest positions."""
    strings = request.player.open_strings
    found = []
    for index in range(len(strings) - 1):
        pair = string_number(index, strings), string_number(index + 1, strings)
        low_stop, high_stop = low.midi - strings[index].midi, high.midi - strings[index + 1].midi
        if request.strings not in (None, pair) or high_stop > MAX_STOP_SEMITONES:
            continue
        for fingers in _FINGERED:
            position = letters_above(low, strings[index]) - fingers[0] + 1
            if position >= LOWEST_FINGERED_OCTAVE:
                found.append(
                    Placed(low, high, index, Grip(*fingers, position), low_stop, high_stop)
                )
    return found

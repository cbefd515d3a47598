"""Patterns beside the scales: named pairs, one finger across two strings, octaves of open strings.

All of them are common practice, no source. The notes are this project's own.
"""

from studio.figures.translation import _
from studio.notation.assembly import Assembly
from studio.notation.degrees import scale_names, step_up
from studio.notation.fingering import candidates, finger
from studio.notation.request import Request
from studio.notation.score import Score
from studio.theory import Pitch, interval_between, string_number

_FINGER_WORDS = {1: "first", 2: "second", 3: "third"}
_FIRST_POSITION = 1
_RINGING = ((1, 3), (2, 2), (3, 1))  # position and finger of an octave above the string below


def pairs(request: Request) -> Score | None:
    """The double stops that are named, in that order, fingered as one row."""
    placed = finger(request.double_stops, request)
    if placed is None:
        return None
    assembly = Assembly(request)
    for way in placed:
        assembly.double_stop(way)
    return assembly.score(_title_of_pairs(request))


def _title_of_pairs(request: Request) -> str:
    """``The octave B♭3–B♭4``, or ``B♭ major: octaves on A3, B♭3, C4``."""
    named = list(dict.fromkeys(request.double_stops))
    if len(named) == 1:
        low, high = named[0]
        return f"The {interval_between(low, high).everyday} {low.pretty}–{high.pretty}"
    lows = ", ".join(dict.fromkeys(low.pretty for low, _rest in named))
    return f"{request.spelled_key.name}: {request.interval} on {lows}"


def one_finger(request: Request) -> Score | None:
    """One finger across each pair of strings, a fifth; after the fifth of the open strings.

    Where the key's notes under the finger are no perfect fifth, one finger cannot stop both, and
    the pair of strings is left out.
    """
    assembly = Assembly(request)
    for index in string_pairs(request):
        low_string, high_string = request.player.open_strings[index : index + 2]
        low = note_under(low_string, request.finger, request)
        high = note_under(high_string, request.finger, request)
        if high.midi - low.midi != high_string.midi - low_string.midi:
            continue
        if request.open_strings:
            place(assembly, low_string, high_string, index, (0, 0), request)
        place(assembly, low, high, index, (request.finger, request.finger), request)
    word = _FINGER_WORDS[request.finger]
    return assembly.score(
        _("%(spelled_key)s: the %(word)s finger across two strings")
        % {"spelled_key": request.spelled_key.name, "word": word}
    )


def third_finger_check(request: Request) -> Score | None:
    """The third finger in first position against the open string below: an octave.

    The note under the finger is the open string's own, an octave higher, whatever the key.
    """
    assembly = Assembly(request)
    for index in string_pairs(request):
        low = request.player.open_strings[index]
        high = Pitch(low.step, low.alter, low.octave + 1)
        place(assembly, low, high, index, (0, 3), request)
    return assembly.score(_("The third finger against the open string below it"))


def ringing_octaves(request: Request) -> Score | None:
    """Each open string with its octave on the next one, in first, second and third position.

    The third, second and first finger stop it in turn; in tune, the open string rings by itself.
    All strings in one position come before the next: so the hand shifts least, and what is played
    can be told apart, since each octave comes again with another finger.
    """
    assembly = Assembly(request)
    for position, stopping in _RINGING:
        for index in string_pairs(request):
            low = request.player.open_strings[index]
            high = Pitch(low.step, low.alter, low.octave + 1)
            place(assembly, low, high, index, (0, stopping), request, position)
    return assembly.score(_("Ringing octaves against the open strings"))


def string_pairs(request: Request) -> list[int]:
    strings = request.player.open_strings
    pairs = range(len(strings) - 1)
    if request.strings is None:
        return list(pairs)
    return [index for index in pairs if string_number(index, strings) == request.strings[0]]


def note_under(string: Pitch, finger: int, request: Request) -> Pitch:
    """The key's note that a finger stands on in first position."""
    return step_up(string, finger, scale_names(request.spelled_key))


def place(
    assembly: Assembly,
    low: Pitch,
    high: Pitch,
    index: int,
    fingers: tuple[int, int],
    request: Request,
    position: int = _FIRST_POSITION,
) -> None:
    """Write a double stop with these fingers in a position, where the hand can do so."""
    for way in candidates(low, high, request):
        in_place = way.position in (None, position)
        if way.low_string == index and way.fingers == fingers and in_place:
            assembly.double_stop(way)
            return

"""Patterns beside the scales: named pairs, one finger across two strings, the third-finger check,
chords.

All of them are common practice, no source. The notes are this project's own.
"""

from collections.abc import Iterator

from studio.notation.assembly import Assembly
from studio.notation.degrees import scale_names, step_up
from studio.notation.fingering import Placed, candidates, finger
from studio.notation.request import Request
from studio.notation.score import Score
from studio.theory import Pitch, interval_between, string_number

_FINGER_WORDS = {1: "first", 2: "second", 3: "third"}
_FIRST_POSITION = 1


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
    lows = ", ".join(dict.fromkeys(low.pretty for low, _ in named))
    return f"{request.spelled_key.name}: {request.interval} on {lows}"


def one_finger(request: Request) -> Score | None:
    """One finger across each pair of strings, a fifth; after the fifth of the open strings.

    Where the key's notes under the finger are no perfect fifth, one finger cannot stop both, and
    the pair of strings is left out.
    """
    assembly = Assembly(request)
    for index in _pairs(request):
        low_string, high_string = request.player.open_strings[index : index + 2]
        low = _note_under(low_string, request.finger, request)
        high = _note_under(high_string, request.finger, request)
        if high.midi - low.midi != high_string.midi - low_string.midi:
            continue
        if request.open_strings:
            _place(assembly, low_string, high_string, index, (0, 0), request)
        _place(assembly, low, high, index, (request.finger, request.finger), request)
    word = _FINGER_WORDS[request.finger]
    return assembly.score(f"{request.spelled_key.name}: the {word} finger across two strings")


def third_finger_check(request: Request) -> Score | None:
    """The third finger in first position against the open string below: an octave.

    The note under the finger is the open string's own, an octave higher, whatever the key.
    """
    assembly = Assembly(request)
    for index in _pairs(request):
        low = request.player.open_strings[index]
        high = Pitch(low.step, low.alter, low.octave + 1)
        _place(assembly, low, high, index, (0, 3), request)
    return assembly.score("The third finger against the open string below it")


def chords(request: Request) -> Score | None:
    """Three-part chords on the steps of the key: lower pair, then upper pair.

    The middle note is common to both pairs, with the same finger on the same string. Steps whose
    chord has no place are left out.
    """
    assembly = Assembly(request)
    for low, middle, high in _triads(request):
        found = _chord(low, middle, high, request)
        if found is not None:
            assembly.chord(*found)
    return assembly.score(f"{request.spelled_key.name}: chords of three notes, in pairs")


def _pairs(request: Request) -> list[int]:
    strings = request.player.open_strings
    pairs = range(len(strings) - 1)
    if request.strings is None:
        return list(pairs)
    return [index for index in pairs if string_number(index, strings) == request.strings[0]]


def _note_under(string: Pitch, finger: int, request: Request) -> Pitch:
    """The key's note that a finger stands on in first position."""
    return step_up(string, finger, scale_names(request.spelled_key))


def _place(
    assembly: Assembly,
    low: Pitch,
    high: Pitch,
    index: int,
    fingers: tuple[int, int],
    request: Request,
) -> None:
    """Write a double stop with these fingers in first position, where the hand can do so."""
    for way in candidates(low, high, request):
        in_first = way.position in (None, _FIRST_POSITION)
        if way.low_string == index and way.fingers == fingers and in_first:
            assembly.double_stop(way)
            return


def _triads(request: Request) -> Iterator[tuple[Pitch, Pitch, Pitch]]:
    """Wide triads (root, fifth, tenth) on each step of the key, from the lowest string up."""
    names = scale_names(request.spelled_key, "harmonic", "up")
    root = _lowest(request, names)
    for degree in range(8):
        low = step_up(root, degree, names)
        yield low, step_up(low, 4, names), step_up(low, 9, names)


def _lowest(request: Request, names: tuple[str, ...]) -> Pitch:
    """The key's lowest note that the instrument has."""
    string = request.player.open_strings[0]
    notes = [
        Pitch.parse(f"{name}{octave}")
        for name in names
        for octave in (string.octave, string.octave + 1)
    ]
    return min((note for note in notes if note.midi >= string.midi), key=lambda note: note.midi)


def _chord(
    low: Pitch, middle: Pitch, high: Pitch, request: Request
) -> tuple[Placed, Placed] | None:
    """Both pairs of a chord, held by one hand: the cheapest of those that agree in the middle."""
    found = []
    for lower in candidates(low, middle, request):
        for upper in candidates(middle, high, request):
            if _one_hand(lower, upper):
                found.append((lower, upper))
    return min(found, key=lambda pair: _from_first(*pair), default=None)


def _one_hand(lower: Placed, upper: Placed) -> bool:
    same_middle = lower.low_string + 1 == upper.low_string
    same_finger = lower.fingers[1] == upper.fingers[0]
    positions = {way.position for way in (lower, upper) if way.position is not None}
    return same_middle and same_finger and len(positions) <= 1 and _fingers_agree(lower, upper)


def _fingers_agree(lower: Placed, upper: Placed) -> bool:
    """One finger on both outer strings must stand at the same stop."""
    outer = (lower.fingers[0], upper.fingers[1])
    return outer[0] != outer[1] or outer[0] == 0 or lower.low_stop == upper.high_stop


def _from_first(lower: Placed, upper: Placed) -> tuple[int, int]:
    """How far the hand is from first position, then how far its furthest finger is from the nut."""
    positions = [way.position for way in (lower, upper) if way.position is not None]
    away = max((abs(position - _FIRST_POSITION) for position in positions), default=0)
    return away, max(lower.low_stop, lower.high_stop, upper.high_stop)

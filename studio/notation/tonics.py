"""Where on an instrument a drill may begin: the tonics that its lower voice can take, or another
degree of the key.
"""

from collections.abc import Iterator
from typing import TypeVar

from studio.notation.degrees import scale_names, step_up
from studio.notation.fingering import MAX_STOP_SEMITONES, Placed, candidates
from studio.notation.request import Request
from studio.theory import Pitch
from studio.theory.fingers import is_wide

T = TypeVar("T")


def tonics(request: Request) -> Iterator[Pitch]:
    """Tonics from the lowest on, each with the request's octaves above it on the fingerboard."""
    yield from _named(request.spelled_key.tonic, request)


def starts(request: Request) -> Iterator[Pitch]:
    """Where the lower voice of a scale may begin: on the degree that is asked for, else on the
    lowest double stop of the key that lies well, else on the tonic.
    """
    if request.start:
        yield from _named(request.spelled_key.scale[request.start - 1], request)
        return
    yield from _lying_well(request)
    yield from tonics(request)


def _lying_well(request: Request) -> Iterator[Pitch]:
    """The lowest first; where the two forms of a minor key have the same notes."""
    key = request.spelled_key
    up, down = (scale_names(key, request.minor, way) for way in ("up", "down"))
    places = {pitch.midi: pitch for name in up for pitch in _named(name, request)}
    for _, low in sorted(places.items()):
        high = step_up(low, request.number - 1, up)
        same = low.pitch_class_name in down and step_up(low, request.number - 1, down) == high
        if same and any(_lies_well(way, request) for way in candidates(low, high, request)):
            yield low
            return


def _lies_well(way: Placed, request: Request) -> bool:
    """In first position or open, without a stretch, and with a finger for each note."""
    low, high = way.fingers
    is_across = low == high != 0
    wide = is_wide(way.low_stop, way.high_stop, request.length_mm, request.hand)
    return way.position in (None, 1) and not is_across and not wide


def _named(name: str, request: Request) -> Iterator[Pitch]:
    strings = request.player.open_strings
    for octave in range(2, 7):
        pitch = Pitch.parse(f"{name}{octave}")
        highest = pitch.midi + 12 * request.octaves
        if pitch.midi >= strings[0].midi and highest <= strings[-1].midi + MAX_STOP_SEMITONES:
            yield pitch


def in_direction(up: list[T], request: Request, down: list[T] | None = None) -> list[T]:
    """A row that goes up, in the direction asked for; ``down`` where the way back is another."""
    back = up[::-1] if down is None else down
    return {"up": up, "down": back, "up_and_down": [*up, *back[1:]]}[request.direction]

"""Where on an instrument a drill may begin: the tonics that its lower voice can take."""

from collections.abc import Iterator
from typing import TypeVar

from studio.notation.fingering import MAX_STOP_SEMITONES
from studio.notation.request import Request
from studio.theory import Pitch

T = TypeVar("T")


def tonics(request: Request) -> Iterator[Pitch]:
    """Tonics from the lowest on, each with the request's octaves above it on the fingerboard."""
    strings = request.player.open_strings
    name = request.spelled_key.tonic
    for octave in range(2, 7):
        tonic = Pitch.parse(f"{name}{octave}")
        highest = tonic.midi + 12 * request.octaves
        if tonic.midi >= strings[0].midi and highest <= strings[-1].midi + MAX_STOP_SEMITONES:
            yield tonic


def in_direction(up: list[T], request: Request, down: list[T] | None = None) -> list[T]:
    """A row that goes up, in the direction asked for; ``down`` where the way back is another."""
    back = up[::-1] if down is None else down
    return {"up": up, "down": back, "up_and_down": [*up, *back[1:]]}[request.direction]

"""Where two notes can lie on two neighbouring strings, and which of them may be an open string."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from studio.theory.instruments import places
from studio.theory.pitches import Pitch

# Widest distance between two stopped notes, in semitones along the string: a tenth's reach
# (9) and one more. A choice of this project: beyond it a hand cannot hold both.
MAX_REACH_SEMITONES = 10


@dataclass(frozen=True, slots=True)
class Placing:
    """A low and a high note on neighbouring strings.

    ``low_string`` and ``high_string`` are indices low to high; stops are semitones above them.
    """

    low_string: int
    low_stop: int
    high_string: int
    high_stop: int


@lru_cache(maxsize=4096)
def _placings(low_midi: int, high_midi: int, strings: tuple[Pitch, ...]) -> tuple[Placing, ...]:
    found = []
    for low_string, low_stop in places(low_midi, strings):
        for high_string, high_stop in places(high_midi, strings):
            both_stopped = low_stop > 0 and high_stop > 0
            in_reach = abs(low_stop - high_stop) <= MAX_REACH_SEMITONES
            if abs(low_string - high_string) == 1 and (in_reach or not both_stopped):
                found.append(Placing(low_string, low_stop, high_string, high_stop))
    return tuple(found)


def placings(low_midi: int, high_midi: int, strings: Sequence[Pitch]) -> tuple[Placing, ...]:
    """Every way to hold two notes on neighbouring strings; empty when there is none."""
    return _placings(low_midi, high_midi, tuple(strings))


def is_playable(low_midi: int, high_midi: int, strings: Sequence[Pitch]) -> bool:
    """Whether a hand can hold both notes on neighbouring strings.

    Notes below the lowest string are let through: then it is the instrument that is not known.
    """
    return low_midi < strings[0].midi or bool(_placings(low_midi, high_midi, tuple(strings)))


@lru_cache(maxsize=4096)
def _openness(low_midi: int, high_midi: int, strings: tuple[Pitch, ...]) -> tuple[str, str]:
    ways = _placings(low_midi, high_midi, strings)

    def of(stops: list[int]) -> str:
        if not stops or all(stops):
            return "stopped"
        return "maybe" if any(stops) else "open"

    return of([way.low_stop for way in ways]), of([way.high_stop for way in ways])


def openness(low_midi: int, high_midi: int, strings: Sequence[Pitch]) -> tuple[str, str]:
    """For each of two notes: ``open``, ``stopped``, or ``maybe`` where the sound cannot tell.

    A violin's G3 can only be its open string. D4 may be open or a fourth finger on the G string,
    unless the other note needs that string.

    >>> from studio.theory.instruments import VIOLIN
    >>> openness(55, 67, VIOLIN.open_strings)
    ('open', 'stopped')
    """
    return _openness(low_midi, high_midi, tuple(strings))

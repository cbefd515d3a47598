"""What lies beside a double stop: its neighbours in a key, and open strings to hear it against.

Pitches are spelled; a pair is its lower and its upper note. Common practice, no source.
"""

from collections.abc import Iterator, Sequence

from studio.notation.degrees import scale_names, step_up
from studio.notation.pairs import size_of
from studio.theory import Interval, Key, Pitch, has_agreed_target

FORMS = ("natural", "melodic", "harmonic")
FIRST_POSITION_SEMITONES = 7  # above the open string: where a finger is surest of its place

Pair = tuple[Pitch, Pitch]


def row_around(low: Pitch, high: Pitch, key: Key, reach: int) -> list[Pair]:
    """From ``reach`` steps of the key below a double stop to as many above it, and back to it.

    The double stop itself stays as it is, also where the key has not both its notes. Neighbours
    whose size has no agreed target, such as a tritone among the fourths, are left out.

    >>> row = row_around(Pitch.parse("A4"), Pitch.parse("D5"), Key.parse("C major"), 1)
    >>> [str(lower) for lower, _ in row]  # G with C, A with D, B with E, A with D
    ['G4', 'A4', 'B4', 'A4']
    """
    names, number = _names(low, high, key), high.diatonic - low.diatonic

    def beside(step: int) -> Pair:
        if step == 0:
            return low, high
        lower = step_up(low, step, names)
        return lower, step_up(lower, number, names)

    row = [beside(step) for step in (*range(-reach, reach + 1), *range(reach - 1, -1, -1))]
    return [pair for pair in row if _is_agreed(*pair)]


def _names(low: Pitch, high: Pitch, key: Key) -> tuple[str, ...]:
    """The key's notes; in minor, those of the form of the scale that has both notes."""
    wanted = {low.pitch_class_name, high.pitch_class_name}
    scales = [scale_names(key, form) for form in FORMS]
    return next((names for names in scales if wanted <= set(names)), scales[0])


def _is_agreed(low: Pitch, high: Pitch) -> bool:
    size = size_of(low, high)
    return size is not None and has_agreed_target(size)


def against_open_strings(
    low: Pitch, high: Pitch, key: Key, strings: Sequence[Pitch]
) -> list[tuple[Pitch, Pair]]:
    """Open strings that form the same interval with a note of the key, the nearest first.

    Each with the pair it is in; the other note lies on a neighbouring string, in first position.

    >>> from studio.theory import VIOLIN
    >>> octave = Pitch.parse("C4"), Pitch.parse("C5")
    >>> found = against_open_strings(*octave, Key.parse("C major"), VIOLIN.open_strings)
    >>> [str(string) for string, _ in found]
    ['D4', 'G3', 'A4']
    """
    size = size_of(low, high)
    if size is None:
        return []
    found = [
        (string, pair)
        for string, pair in _with_open_string(size, key, strings)
        if size_of(*pair) == size and all(key.contains(pitch) for pitch in pair)
    ]
    return sorted(found, key=lambda it: (abs(it[1][0].midi - low.midi), it[1][0].midi))


def _with_open_string(
    size: Interval, key: Key, strings: Sequence[Pitch]
) -> Iterator[tuple[Pitch, Pair]]:
    for place, string in enumerate(strings):
        for way, beside in ((1, place + 1), (-1, place - 1)):
            if not 0 <= beside < len(strings):
                continue
            other = key.spell(string.midi + way * size.semitones)
            if 0 < other.midi - strings[beside].midi <= FIRST_POSITION_SEMITONES:
                yield string, (string, other) if way > 0 else (other, string)

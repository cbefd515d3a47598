"""Which fingers hold two stopped notes on neighbouring strings, in which position, and how wide.

Conventions
-----------
* A stop is in semitones above the open string (0 is open); fingers are 0 (open) to 4.
* ``low`` is the note on the lower of two neighbouring strings, ``high`` the one on the higher.
* A position is counted by letters: with the hand in position p, finger f stands p + f - 1 letters
  above the open string. First position is 1, half position 0.

Relations (common practice, no source), by high stop - low stop in semitones: unison -7 (fourth
finger below, first above); thirds -4 and -3 (third and first, fourth and second); fourth -2 and
tritone -1 (neighbours, the higher finger below); fifth 0 (one finger across both strings); sixths
+1 and +2 (neighbours, the higher finger above); sevenths +3 and +4; octave +5 (first and fourth,
the hand's frame); ninths +6 and +7, tenths +8 and +9 (first and fourth extended).
"""

from dataclasses import dataclass
from functools import lru_cache

from studio.theory import naming
from studio.theory.instruments import span_mm
from studio.theory.pitches import Pitch

MAX_FINGER = 4
FRAME_SEMITONES = 5  # first to fourth finger without stretching
MAX_EXTENSION_SEMITONES = 9  # a tenth's reach
MAX_POSITION = 15
# Widest comfortable distance between first and fourth finger, in mm. A choice of this project,
# not a standard: hands differ, and a teacher's word stands above it.
COMFORTABLE_SPAN_MM = {"small": 64.0, "medium": 80.0, "large": 90.0}
_FINGERS_APART = {0: 0, 1: 1, 2: 1, 3: 2, 4: 2, 5: 3, 6: 3, 7: 3, 8: 3, 9: 3}


@dataclass(frozen=True, slots=True)
class Grip:
    """Two fingers on two neighbouring strings. ``position`` is ``None`` where both are open."""

    low_finger: int
    high_finger: int
    position: int | None


def position_name(position: int) -> str:
    """A position in words.

    >>> [position_name(position) for position in (0, 1, 3, 11)]
    ['half position', '1st position', '3rd position', '11th position']
    """
    return naming.position(position)


def fingers_apart(low_stop: int, high_stop: int) -> int | None:
    """High finger - low finger for two stopped notes; ``None`` where no hand reaches.

    >>> fingers_apart(2, 7), fingers_apart(4, 1), fingers_apart(2, 2)
    (3, -2, 0)
    """
    apart = _FINGERS_APART.get(abs(high_stop - low_stop))
    if apart is None:
        return None
    return apart if high_stop > low_stop else -apart


def extension_semitones(low_stop: int, high_stop: int) -> int:
    """Semitones by which two stopped notes are wider than the hand's frame; 0 inside it."""
    if not low_stop or not high_stop:
        return 0
    return max(0, abs(high_stop - low_stop) - FRAME_SEMITONES)


def letters_above(pitch: Pitch, string: Pitch) -> int:
    """Letters from an open string up to a note on it: D to F sharp is 2."""
    return pitch.diatonic - string.diatonic


@lru_cache(maxsize=8192)
def grips(low: Pitch, high: Pitch, low_string: Pitch, high_string: Pitch) -> tuple[Grip, ...]:
    """Every way to finger two notes on two neighbouring strings, first position first.

    Parameters
    ----------
    low, high : the notes, each on its own string
    low_string, high_string : the open strings they are played on

    Returns
    -------
    tuple of Grip
        Empty where no hand reaches both.
    """
    low_stop, high_stop = low.midi - low_string.midi, high.midi - high_string.midi
    if low_stop < 0 or high_stop < 0:
        return ()
    low_letters, high_letters = letters_above(low, low_string), letters_above(high, high_string)
    if not low_stop or not high_stop:
        return _with_open_string(low_stop, high_stop, low_letters, high_letters)
    apart = fingers_apart(low_stop, high_stop)
    if apart is None:
        return ()
    found = []
    for low_finger in range(1, MAX_FINGER + 1):
        high_finger = low_finger + apart
        if not 1 <= high_finger <= MAX_FINGER:
            continue
        # The finger nearer the nut places the hand: the other may be extended.
        first_is_low = low_finger <= high_finger
        letters = low_letters if first_is_low else high_letters
        position = letters - min(low_finger, high_finger) + 1
        if _stands(low_stop, low_finger) and _stands(high_stop, high_finger):
            found.append(Grip(low_finger, high_finger, position))
    return tuple(sorted((grip for grip in found if _in_reach(grip)), key=lambda g: g.position or 0))


def _with_open_string(
    low_stop: int, high_stop: int, low_letters: int, high_letters: int
) -> tuple[Grip, ...]:
    if not low_stop and not high_stop:
        return (Grip(0, 0, None),)
    stop, letters = (high_stop, high_letters) if high_stop else (low_stop, low_letters)
    found = []
    for finger in range(1, MAX_FINGER + 1):
        position = letters - finger + 1
        grip = Grip(0, finger, position) if high_stop else Grip(finger, 0, position)
        if _stands(stop, finger) and _in_reach(grip):
            found.append(grip)
    return tuple(sorted(found, key=lambda grip: grip.position or 0))


def _stands(stop: int, finger: int) -> bool:
    """Whether there is room on the string for the fingers below this one."""
    return stop >= finger


def _in_reach(grip: Grip) -> bool:
    return grip.position is not None and 0 <= grip.position <= MAX_POSITION


def stretch_mm(low_stop: int, high_stop: int, string_length_mm: float) -> float:
    """Distance between two stopped fingers along the string, in mm; 0 with an open string."""
    if not low_stop or not high_stop:
        return 0.0
    return span_mm(low_stop, high_stop, string_length_mm)


def is_wide(low_stop: int, high_stop: int, string_length_mm: float, hand: str = "medium") -> bool:
    """Whether two stopped notes are a stretch for a hand: then say a caution."""
    if hand not in COMFORTABLE_SPAN_MM:
        raise ValueError(f"hand {hand!r} is not known; write {', '.join(COMFORTABLE_SPAN_MM)}")
    return stretch_mm(low_stop, high_stop, string_length_mm) > COMFORTABLE_SPAN_MM[hand]


def difficulty(
    low_stop: int, high_stop: int, position: int | None, string_length_mm: float = 328.0
) -> float:
    """How hard a double stop is to place, from 0 (open strings) up; a choice of this project.

    One point for each stopped note, a tenth for each position above the first, one for every 20 mm
    between the fingers beyond 40 mm, and one for one finger across two strings.
    """
    stopped = bool(low_stop) + bool(high_stop)
    wide = max(0.0, stretch_mm(low_stop, high_stop, string_length_mm) - 40.0) / 20.0
    across = 1.0 if stopped == 2 and low_stop == high_stop else 0.0
    return stopped + 0.1 * max(0, (position or 1) - 1) + wide + across

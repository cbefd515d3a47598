"""Where a drill's fingering puts the two notes of a double stop, and how far a finger has to go.

Conventions: a stop is in semitones above its open string; strings are named by their letter;
distances in millimetres along the string, for the pupil's own string length.

Nothing here is guessed from the sound: without a written finger there is no :class:`Hand`, and
without a written string there are no millimetres.
"""

from dataclasses import dataclass

from studio.intonation.judging.interval_naming import Named
from studio.intonation.model.options import Options
from studio.theory import Pitch, mm_per_cent

# Share of a distance that is not known besides the cents: the string length is often the usual one
# and not measured, and a fingertip is a centimetre wide. Chosen, not measured.
DISTANCE_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class Hand:
    """One written finger: 0 (open) to 4, its string's letter and its stop, as far as written."""

    finger: int
    string: str | None = None
    stop: int | None = None
    string_length_mm: float = 328.0

    def distance_mm(self, cents: float, uncertainty_cents: float) -> tuple[float, float] | None:
        """How far the finger goes for ``cents``, and the standard deviation of that, in mm.

        ``None`` where the string is not written, or the note is open.

        >>> mm, doubt = Hand(1, "D", 2).distance_mm(18.0, 0.6)
        >>> round(mm, 2), round(doubt, 2)
        (3.04, 0.18)
        """
        if not self.stop:
            return None
        each = mm_per_cent(self.stop, self.string_length_mm)
        distance = abs(cents) * each
        return distance, ((uncertainty_cents * each) ** 2 + (DISTANCE_SHARE * distance) ** 2) ** 0.5


Hands = tuple[Hand | None, Hand | None]  # of the low and the high note, where written


def hands_of(named: Named, options: Options) -> Hands:
    """The written fingers of the low and the high note; ``None`` where none is written."""
    note = named.expected
    if note is None or len(note.fingers) != 2:
        return None, None
    numbers = note.strings or (None, None)
    low, high = (
        None if finger is None else _hand(finger, number, pitch, options)
        for finger, number, pitch in zip(
            note.fingers, numbers, (named.low, named.high), strict=True
        )
    )
    return low, high


def _hand(finger: int, number: int | None, pitch: Pitch, options: Options) -> Hand:
    """The finger with its string, unless the note cannot be played there."""
    strings = options.strings
    if number is None or not 1 <= number <= len(strings):
        return Hand(finger)
    string = strings[len(strings) - number]  # players count from the highest, 1
    stop = pitch.midi - string.midi
    if stop < 0 or (stop == 0) != (finger == 0):
        return Hand(finger)
    length_mm = options.string_length_mm
    assert length_mm is not None  # set when the options were made
    return Hand(finger, string.pretty[:-1], stop, length_mm)


def is_one_finger(low: Hand | None, high: Hand | None) -> bool:
    """Whether one finger lies across two strings, so that its notes do not move freely."""
    if low is None or high is None or not low.finger:
        return False
    return low.finger == high.finger and low.string != high.string

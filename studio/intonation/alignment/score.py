"""A list of expected notes as the follower uses it: pitches in cents, bars, what belongs together.

A *separate* note is one voice of a double stop written in the same bar, to be played by itself
first: single notes right before a double stop of their bar that are all among its pitches. What a
score says of its notes (``manner``) does not decide it: pages from elsewhere call every single note
*alone*.
"""

from collections.abc import Sequence
from functools import lru_cache

from studio.intonation.model.expected import ExpectedNote
from studio.theory import Pitch


@lru_cache(maxsize=512)
def cents_of_name(name: str) -> float:
    """Cents above MIDI number 0 of a spelled pitch, equal-tempered.

    >>> cents_of_name("A4")
    6900.0
    """
    return 100.0 * Pitch.parse(name).midi


class Expected:
    """A score made ready to be followed.

    Attributes
    ----------
    cents : for each note its pitches from low to high, in cents above MIDI number 0
    bars : for each note the number of its bar; without bars, every note is one of its own
    bar_start : whether a note is the first of its bar
    belongs_to : for a separate note the place of its double stop, else ``None``
    apart : for each note, which of its voices are also written as separate notes
    """

    def __init__(self, score: Sequence[ExpectedNote]) -> None:
        self.notes = tuple(score)
        self.cents = [tuple(map(cents_of_name, note.pitches)) for note in self.notes]
        self.bars = [place if n.bar is None else n.bar for place, n in enumerate(self.notes)]
        self.bar_start = [
            place == 0 or self.bars[place - 1] != bar for place, bar in enumerate(self.bars)
        ]
        self.belongs_to = [self._double_stop_of(place) for place in range(len(self.notes))]
        self.apart = self._written_apart()

    def __len__(self) -> int:
        return len(self.notes)

    def _double_stop_of(self, place: int) -> int | None:
        note = self.notes[place]
        if len(note.pitches) > 1:
            return None
        before = {self.cents[place][0]}
        for later in range(place + 1, len(self.notes)):
            if self.bars[later] != self.bars[place]:
                return None
            if len(self.cents[later]) > 1:
                return later if before.issubset(self.cents[later]) else None
            before.add(self.cents[later][0])
        return None

    def _written_apart(self) -> list[frozenset[int]]:
        """For each double stop, its voices that have a separate note of their own."""
        found: list[set[int]] = [set() for _ in self.notes]
        for place, together in enumerate(self.belongs_to):
            if together is not None:
                found[together].add(self.cents[together].index(self.cents[place][0]))
        return [frozenset(voices) for voices in found]

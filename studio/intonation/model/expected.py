"""What is written, as listening and judging are told it: :class:`ExpectedNote`."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from studio.intonation.model.serialization import known_fields
from studio.theory import Pitch


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedNote:
    """One written note, double stop or chord, in the order it is to be played.

    Parameters
    ----------
    pitches : spelled names from low to high
    strings : the player's string numbers (1 the highest), aligned with ``pitches``; ``None``
        entries where the score does not say
    fingers : 0 (open) to 4, likewise
    ref : the score's own id for it
    bar : number of its bar, 1 and up; ``None`` where the score has no bars
    manner : ``separate`` for one note of a double stop of its bar, ``together`` for the double
        stop itself, ``alone`` for a note that belongs to none; ``None`` where it is not said
    playings : how often it is to be played
    hold_s : least time to hold it, in seconds; ``None`` where the score does not say

    Raises
    ------
    ValueError
        For a name that is not a pitch, no pitches, or lists that do not align.
    """

    pitches: tuple[str, ...]
    strings: tuple[int | None, ...] = ()
    fingers: tuple[int | None, ...] = ()
    ref: str | None = None
    bar: int | None = None
    manner: str | None = None
    playings: int = 1
    hold_s: float | None = None

    def __post_init__(self) -> None:
        if not 1 <= len(self.pitches) <= 4:
            raise ValueError(f"an expected note has 1 to 4 pitches, not {len(self.pitches)}")
        midi = [Pitch.parse(name).midi for name in self.pitches]
        if midi != sorted(midi):
            raise ValueError(f"pitches {', '.join(self.pitches)} must run from low to high")
        for name in ("strings", "fingers"):
            values = getattr(self, name)
            if values and len(values) != len(self.pitches):
                raise ValueError(
                    f"{len(values)} {name} for {len(self.pitches)} pitches; give one for each"
                )

    @property
    def midi(self) -> tuple[int, ...]:
        """MIDI numbers from low to high."""
        return tuple(Pitch.parse(name).midi for name in self.pitches)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> "ExpectedNote":
        """From plain values, as a stored score holds them; ``id`` is another name for ``ref``.

        >>> ExpectedNote.from_dict({"id": "n3", "pitches": ["G3", "G4"], "beats": "2"}).ref
        'n3'
        """
        known = known_fields(cls, {"ref": data.get("id"), **data})
        for name in ("pitches", "strings", "fingers"):
            known[name] = tuple(known.get(name) or ())
        return cls(**known)

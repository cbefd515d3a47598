"""What is written, and what was followed of it: :class:`ExpectedNote` and :class:`Following`;
:class:`Pin` is what a person says of where a place of the clip is written.

Conventions
-----------
* ``note`` is a place in the score from 0; ``ref`` is the score's own id for it.
* ``event`` is an id of the measurement's events.
* An event is one of: *whole* (the expected note or double stop), *part* (one of its notes alone),
  *wrong* (something else in its place), *extra* (nothing that the score asks for).
* A note is one of: *played* (whole, once at least); *apart* (only its notes one by one);
  *together* (a separate note, left out where its double stop was played or tried); *wrong* (only
  something else in its place); *missed* (left out on the way); *not_reached* (before the first or
  after the last note that was played, or in a stretch of more than three bars that was passed over:
  who practises only some bars has not missed the others; nor has who goes where the page leads,
  past an ending for another time).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from studio.intonation.model.serialization import known_fields, to_plain
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
    manner : ``separate`` for one note of a double stop of its bar (before it, or after it),
        ``together`` for the double
        stop itself, ``alone`` for a note that belongs to none; ``None`` where it is not said
    playings : how often it is to be played
    hold_s : least time to hold it, in seconds; ``None`` where the score does not say
    leads_to : refs of what else may come next besides what is written next: where a repeat
        begins, or another ending

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
    leads_to: tuple[str, ...] = ()

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
        for name in ("pitches", "strings", "fingers", "leads_to"):
            known[name] = tuple(known.get(name) or ())
        return cls(**known)


@dataclass(frozen=True, slots=True)
class Pin:
    """A span of the clip, in seconds, that somebody says is a bar of the score, by its number.

    Raises
    ------
    ValueError
        For a span without a length.
    """

    start_s: float
    end_s: float
    bar: int

    def __post_init__(self) -> None:
        if not self.start_s < self.end_s:
            raise ValueError(
                f"a pin from {self.start_s} to {self.end_s} s has no length; give an end after "
                "its start"
            )


@dataclass(frozen=True, slots=True)
class FollowedEvent:
    """What one event was in the score.

    ``voices[v]`` is the place (from low to high) of the expected pitch that the event's voice v is,
    or ``None`` where it is none of them. ``reading`` is 0 for the event as heard, else the number
    of the alternative, from 1, that fits. ``heard`` and ``expected`` are pitch names, said of what
    was wrong or extra.
    """

    event: int
    state: str
    note: int | None = None
    ref: str | None = None
    voices: tuple[int | None, ...] = ()
    reading: int = 0
    heard: tuple[str, ...] = ()
    expected: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FollowedNote:
    """What one expected note got: ids of events, each in time.

    The figures are the judgement's (:mod:`studio.intonation.alignment.follower`):
    ``deviations_cents`` of the playings that could be ``measured``, the first, the one nearest to
    the target, the last.
    """

    note: int
    state: str
    ref: str | None = None
    bar: int | None = None
    pitches: tuple[str, ...] = ()
    playings: tuple[int, ...] = ()
    parts: tuple[int, ...] = ()
    wrong: tuple[int, ...] = ()
    measured: tuple[int, ...] = ()
    deviations_cents: tuple[float, ...] = ()
    first_cents: float | None = None
    best_cents: float | None = None
    last_cents: float | None = None


@dataclass(frozen=True, slots=True)
class Following:
    """All events and all notes, each in order; and the pins that it goes through."""

    score: tuple[ExpectedNote, ...]
    events: tuple[FollowedEvent, ...] = ()
    notes: tuple[FollowedNote, ...] = ()
    belongs_to: tuple[int | None, ...] = field(default=(), repr=False)
    pins: tuple[Pin, ...] = ()

    def in_state(self, *states: str) -> tuple[FollowedNote, ...]:
        """The notes in any of these states, in the order written."""
        return tuple(note for note in self.notes if note.state in states)

    @property
    def missed(self) -> tuple[FollowedNote, ...]:
        """The notes left out on the way."""
        return self.in_state("missed")

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        pins = {"pins": to_plain(self.pins)} if self.pins else {}
        return {"events": to_plain(self.events), "notes": to_plain(self.notes), **pins}

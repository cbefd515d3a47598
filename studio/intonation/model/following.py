"""Which expected note each event was, and what each note got: :class:`Following`.

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
  who practises only some bars has not missed the others).
"""

from dataclasses import dataclass, field
from typing import Any

from studio.intonation.model.expected import ExpectedNote
from studio.intonation.model.serialization import to_plain


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

    The figures are the judgement's (:mod:`studio.intonation.alignment.note_figures`):
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
    """All events and all notes, each in order."""

    score: tuple[ExpectedNote, ...]
    events: tuple[FollowedEvent, ...] = ()
    notes: tuple[FollowedNote, ...] = ()
    belongs_to: tuple[int | None, ...] = field(default=(), repr=False)

    def in_state(self, *states: str) -> tuple[FollowedNote, ...]:
        """The notes in any of these states, in the order written."""
        return tuple(note for note in self.notes if note.state in states)

    @property
    def missed(self) -> tuple[FollowedNote, ...]:
        """The notes left out on the way."""
        return self.in_state("missed")

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {"events": to_plain(self.events), "notes": to_plain(self.notes)}

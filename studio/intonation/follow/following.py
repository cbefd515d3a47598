"""A drill followed through a clip: which expected note each event was, and what each note got.

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

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from studio.intonation._plain import to_plain
from studio.intonation.follow.expected import Expected
from studio.intonation.judgement import ExpectedNote
from studio.intonation.measurement import Event, Measurement

if TYPE_CHECKING:
    from studio.intonation.follow.likeness import Fit

MISSED_BARS = 3  # a longer stretch was left out on purpose


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

    The figures are the judgement's (:mod:`studio.intonation.follow.figures`): ``deviations_cents``
    of the playings that could be ``measured``, the first, the one nearest to the target, the last.
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


def follow(measurement: Measurement, score: Sequence[ExpectedNote]) -> Following:
    """Align what was heard to a list of expected notes.

    A hidden Markov model over the notes of the score, whose transitions are habits of practising
    (:mod:`studio.intonation.follow.habits`) and whose emissions say how well an event fits a note
    (:mod:`studio.intonation.follow.likeness`); the likeliest path by Viterbi. It knows repeats,
    restarts, skipped and wrong notes, separately then together, pauses, and sounds that are none of
    the drill's.

    Parameters
    ----------
    measurement : what was heard
    score : what is written, in order; at least one note

    Returns
    -------
    Following
        Pure: the same arguments always give the same alignment.

    Raises
    ------
    ValueError
        For an empty score.
    """
    from studio.intonation.follow import likeness  # numpy loads here, not with the package
    from studio.intonation.follow.path import likeliest_path

    if not score:
        raise ValueError(
            "the score has 0 expected notes; give at least 1, or judge without a score"
        )
    expected = Expected(score)
    events = measurement.events
    a4_hz = measurement.reference.a4_hz
    readings = [likeness.readings_of(t, event, a4_hz) for t, event in enumerate(events)]
    if not events:
        return following_of(expected, [])
    rows = [row for mine in readings for row in mine]
    fits = likeness.fit_costs(rows, expected)
    path = likeliest_path(expected, fits, likeness.extra_costs(events), _gaps_s(events))
    found = [
        FollowedEvent(event.id, "extra", heard=_names(event))
        if place is None
        else _placed(event, place, likeness.explain(mine, place, expected), expected)
        for event, mine, place in zip(events, readings, path, strict=True)
    ]
    return following_of(expected, found)


def _gaps_s(events: Sequence[Event]) -> list[float]:
    """Silence before each event."""
    ends = [events[0].start_s, *(event.end_s for event in events[:-1])]
    return [event.start_s - end for event, end in zip(events, ends, strict=True)]


def _names(event: Event) -> tuple[str, ...]:
    return tuple(voice.pitch for voice in event.voices)


def _placed(event: Event, place: int, fit: "Fit", expected: Expected) -> FollowedEvent:
    note = expected.notes[place]
    if fit.how != "wrong":
        return FollowedEvent(event.id, fit.how, place, note.ref, fit.voices, fit.reading)
    heard = event.alternatives[fit.reading - 1].pitches if fit.reading else _names(event)
    return FollowedEvent(
        event.id, "wrong", place, note.ref, fit.voices, fit.reading, heard, note.pitches
    )


def following_of(expected: Expected, events: Sequence[FollowedEvent]) -> Following:
    """What each note of a score got, from what each event was."""
    got: list[dict[str, list[int]]] = [
        {"whole": [], "part": [], "wrong": []} for _ in expected.notes
    ]
    for row in events:
        if row.note is not None:
            got[row.note][row.state].append(row.event)
    notes = [
        FollowedNote(
            place,
            _own_state(mine),
            note.ref,
            note.bar,
            note.pitches,
            tuple(mine["whole"]),
            tuple(mine["part"]),
            tuple(mine["wrong"]),
        )
        for place, (note, mine) in enumerate(zip(expected.notes, got, strict=True))
    ]
    return Following(
        expected.notes,
        tuple(events),
        _with_what_was_left(notes, expected),
        tuple(expected.belongs_to),
    )


def _own_state(mine: dict[str, list[int]]) -> str:
    if mine["whole"]:
        return "played"
    if mine["part"]:
        return "apart"
    return "wrong" if mine["wrong"] else "missed"


def _with_what_was_left(
    notes: Sequence[FollowedNote], expected: Expected
) -> tuple[FollowedNote, ...]:
    """Tell what was left out from what was not reached, or played as part of its double stop."""
    states = [_of_its_double_stop(note, notes, expected) for note in notes]
    for stretch in _stretches(states):
        bars = {expected.bars[place] for place in stretch}
        outside = stretch[0] == 0 or stretch[-1] == len(notes) - 1
        if outside or len(bars) > MISSED_BARS:
            for place in stretch:
                states[place] = "not_reached"
    return tuple(replace(note, state=state) for note, state in zip(notes, states, strict=True))


def _of_its_double_stop(
    note: FollowedNote, notes: Sequence[FollowedNote], expected: Expected
) -> str:
    together = expected.belongs_to[note.note]
    if note.state != "missed" or together is None:
        return note.state
    tried = notes[together].playings or notes[together].parts or notes[together].wrong
    return "together" if tried else "missed"


def _stretches(states: Sequence[str]) -> list[list[int]]:
    """Places of missed notes, those that follow each other together."""
    found: list[list[int]] = []
    for place, state in enumerate(states):
        if state != "missed":
            continue
        if found and found[-1][-1] == place - 1:
            found[-1].append(place)
        else:
            found.append([place])
    return found

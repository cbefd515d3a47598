"""A drill followed through a clip, and what that gives the judging.

``model.score_following`` says in what terms. :func:`follow` finds which written note each event
was; :func:`with_figures` adds what each of them got, in cents: all its playings, the first, the
best and the last; :func:`with_fingering` gives what was heard the string and finger that the drill
writes.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from studio.intonation.alignment.pins import bars_of, constrained
from studio.intonation.model.judgement import CLOSE_TO_LIMIT, JudgedInterval, JudgedSingle
from studio.intonation.model.measurement import Event, Measurement, Voice
from studio.intonation.model.score_following import (
    ExpectedNote,
    FollowedEvent,
    FollowedNote,
    Following,
    Pin,
)

if TYPE_CHECKING:
    from studio.intonation.alignment.emission_costs import Fit
    from studio.intonation.alignment.hidden_markov_model import Expected

MISSED_BARS = 3  # bars; a longer stretch was left out on purpose: chosen


def follow(
    measurement: Measurement, score: Sequence[ExpectedNote], pins: Sequence[Pin] = ()
) -> Following:
    """Align what was heard to a list of expected notes.

    A hidden Markov model over the notes of the score, whose transitions are habits of practising
    (:mod:`studio.intonation.alignment.hidden_markov_model`) and whose emissions say how well an
    event fits a note (:mod:`studio.intonation.alignment.emission_costs`); the likeliest path by
    Viterbi.
    It knows repeats, restarts, skipped and wrong notes, separately then together, pauses, and
    sounds that are none of the drill's.

    Parameters
    ----------
    measurement : what was heard
    score : what is written, in order; at least one note
    pins : spans that are known to be a bar of the score; the path goes through all of them
        (:mod:`studio.intonation.alignment.pins`)

    Returns
    -------
    Following
        Pure: the same arguments always give the same alignment.

    Raises
    ------
    ValueError
        For an empty score.
    UnusablePin
        For pins that contradict each other, or one that has no place here; it is a ValueError.
    """
    # numpy loads here, not with the package
    from studio.intonation.alignment import emission_costs
    from studio.intonation.alignment.hidden_markov_model import Expected, likeliest_path
    from studio.intonation.alignment.slips import renamed

    if not score:
        raise ValueError(
            "the score has 0 expected notes; give at least 1, or judge without a score"
        )
    expected = Expected(score)
    events = measurement.events
    a4_hz = measurement.reference.a4_hz
    readings = [emission_costs.readings_of(t, event, a4_hz) for t, event in enumerate(events)]
    bars = bars_of(pins, events, score)
    if not events:
        return following_of(expected, [])
    rows = [row for mine in readings for row in mine]
    cents, gaps_s = [mine[0].cents for mine in readings], _gaps_s(events)
    fits = emission_costs.fit_costs(rows, expected)
    extras, unfit = emission_costs.extra_costs(events, gaps_s), set[int]()
    if pins:
        fits, extras, unfit = constrained(pins, events, score, fits, extras)
    path = likeliest_path(expected, fits, extras, gaps_s)
    found = [
        FollowedEvent(event.id, "extra", heard=_names(event))
        if place is None or t in unfit
        else _placed(event, place, emission_costs.explain(mine, place, expected), expected)
        for t, (event, mine, place) in enumerate(zip(events, readings, path, strict=True))
    ]
    named = renamed(events, cents, found, expected, bars)
    return replace(following_of(expected, named), pins=tuple(pins))


def _gaps_s(events: Sequence[Event]) -> list[float]:
    """Silence before each event."""
    ends = [events[0].start_s, *(event.end_s for event in events[:-1])]
    return [event.start_s - end for event, end in zip(events, ends, strict=True)]


def _names(event: Event) -> tuple[str, ...]:
    return tuple(voice.pitch for voice in event.voices)


def _placed(event: Event, place: int, fit: "Fit", expected: "Expected") -> FollowedEvent:
    note = expected.notes[place]
    if fit.how != "wrong":
        return FollowedEvent(event.id, fit.how, place, note.ref, fit.voices, fit.reading)
    heard = event.alternatives[fit.reading - 1].pitches if fit.reading else _names(event)
    return FollowedEvent(
        event.id, "wrong", place, note.ref, fit.voices, fit.reading, heard, note.pitches
    )


def following_of(expected: "Expected", events: Sequence[FollowedEvent]) -> Following:
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
    notes: Sequence[FollowedNote], expected: "Expected"
) -> tuple[FollowedNote, ...]:
    """Tell what was left out from what was not reached, or played as part of its double stop."""
    states = [_of_its_double_stop(note, notes, expected) for note in notes]
    passed = {(first + 1, last - 1) for first, last in expected.leads}
    for stretch in _stretches(states):
        bars = {expected.bars[place] for place in stretch}
        outside = stretch[0] == 0 or stretch[-1] == len(notes) - 1
        if outside or len(bars) > MISSED_BARS or (stretch[0], stretch[-1]) in passed:
            for place in stretch:
                states[place] = "not_reached"
    return tuple(replace(note, state=state) for note, state in zip(notes, states, strict=True))


def _of_its_double_stop(
    note: FollowedNote, notes: Sequence[FollowedNote], expected: "Expected"
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


def with_figures(
    following: Following, intervals: Sequence[JudgedInterval], singles: Sequence[JudgedSingle]
) -> Following:
    """The same following, its notes with the deviations of their measured playings.

    A chord counts by the interval furthest off. A playing that was not measured, or whose size has
    no agreed target, has no figure.
    """
    cents: dict[int, float] = {}
    judged: list[JudgedInterval | JudgedSingle] = [*intervals, *singles]
    for row in judged:
        if row.deviation_cents is None or row.unsure_reason not in (None, CLOSE_TO_LIMIT):
            continue
        if row.event not in cents or abs(row.deviation_cents) > abs(cents[row.event]):
            cents[row.event] = row.deviation_cents
    return replace(following, notes=tuple(_figures(note, cents) for note in following.notes))


def _figures(note: FollowedNote, cents: dict[int, float]) -> FollowedNote:
    heard = note.playings if len(note.pitches) < 3 else tuple(sorted(note.playings + note.parts))
    measured = tuple(event for event in heard if event in cents)
    if not measured:
        return note
    deviations = tuple(cents[event] for event in measured)
    return replace(
        note,
        measured=measured,
        deviations_cents=deviations,
        first_cents=deviations[0],
        best_cents=min(deviations, key=abs),
        last_cents=deviations[-1],
    )


def with_fingering(measurement: Measurement, following: Following) -> Measurement:
    """The same measurement; voices that are a written note have its string and finger."""
    rows = {row.event: row for row in following.events}
    return measurement.with_events(
        tuple(_fingered(event, rows[event.id], following) for event in measurement.events)
    )


def _fingered(event: Event, row: FollowedEvent, following: Following) -> Event:
    if row.note is None or row.state == "wrong" or row.reading:
        return event
    note = following.score[row.note]
    return replace(
        event,
        voices=tuple(
            voice
            if place is None
            else _stopped(voice, _at(note.strings, place), _at(note.fingers, place))
            for voice, place in zip(event.voices, row.voices, strict=True)
        ),
    )


def _at(values: tuple[int | None, ...], place: int) -> int | None:
    return values[place] if values else None


def _stopped(voice: Voice, string: int | None, finger: int | None) -> Voice:
    return replace(
        voice,
        string=voice.string if string is None else string,
        finger=voice.finger if finger is None else finger,
    )

"""Wrong notes put right at once, and octave errors of the ear: what the likeliest path misnames.

Whoever stops one or two notes near the written ones, and at once the written ones, has slipped and
put it right. The path prices each sound by itself
(:mod:`studio.intonation.alignment.emission_costs`) and finds something likelier for the first of
the two where it may be something else as well: none of the drill's (two notes off cost as much),
the note before once more, one voice of the double stop before, or one note with a string ringing
along.

A double stop of which one voice is right and the other right but for an octave was no slip of a
hand: the ear has taken a partial for the note. It counts as its right voice alone.
"""

from collections.abc import Container, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise, permutations

from studio.intonation.alignment.emission_costs import MATCH_CENTS
from studio.intonation.alignment.hidden_markov_model import Expected
from studio.intonation.model.measurement import Event
from studio.intonation.model.score_following import FollowedEvent
from studio.theory import OCTAVE_CENTS

# Chosen; checked on simulated practice (tests/benchmarks/follower.py).
LEAST_S = 0.25  # a shorter sound is rather a string touched
NEAR_CENTS = 230.0  # a whole tone, and what a finger on its way is off besides
PUT_RIGHT_S = 1.0  # of silence before the right note: later, it is another try


def renamed(
    events: Sequence[Event],
    cents: Sequence[Sequence[float]],
    found: Sequence[FollowedEvent],
    expected: Expected,
    pinned: Mapping[int, int],
) -> list[FollowedEvent]:
    """What each event was, with slips put right named, and octave errors of the ear no slips.

    Parameters
    ----------
    events : what was heard, in order
    cents : of each event its voices from low to high, above MIDI number 0 at the clip's own A4
    found : what each event was
    expected : the score
    pinned : the bars of events that are known, by their place in time: those stay in them
    """
    named = [
        _without_octaves(row, heard, expected) for row, heard in zip(found, cents, strict=True)
    ]
    played: set[int | None] = set()
    for place, (event, after) in enumerate(pairwise(events)):
        row, right = named[place], named[place + 1]
        if right.state == "whole" and row.note != right.note and _is_at_once(event, after):
            flows = place == 0 or _flows(events[place - 1], named[place - 1], event)
            near = _is_near(cents[place], expected.cents[_note(right)])
            here = expected.bars[_note(right)]
            if (
                near
                and pinned.get(place, here) == here
                and _may_be_a_slip(row, right, played, flows)
            ):
                named[place] = _slip(event, right, expected)
        if row.state == "whole":
            played.add(row.note)
    return named


def _flows(before: Event, row: FollowedEvent, event: Event) -> bool:
    """Whether one was at the drill before: a note among others that are none of it is none."""
    ghost = before.end_s - before.start_s < LEAST_S
    return ghost or row.state != "extra" or event.start_s - before.end_s > PUT_RIGHT_S


def _may_be_a_slip(
    row: FollowedEvent, right: FollowedEvent, played: Container[int | None], flows: bool
) -> bool:
    """Whether what an event was taken for is less than a slip on the way to the next."""
    if row.state == "extra":
        return flows
    if row.state == "wrong":  # nobody spoils what was right already and then goes on
        return row.note in played
    if row.state == "part":  # one note of a double stop that was right, and then the next note
        alone = len(row.voices) == 1 and row.note in played
        return alone and _note(right) == _note(row) + 1
    return None in row.voices  # more than is written there, as much as is written next


def _note(row: FollowedEvent) -> int:
    assert row.note is not None
    return row.note


def _is_at_once(event: Event, after: Event) -> bool:
    held = event.end_s - event.start_s >= LEAST_S
    return held and after.start_s - event.end_s <= PUT_RIGHT_S


def _is_near(heard: Sequence[float], written: Sequence[float]) -> bool:
    return len(heard) == len(written) and all(
        abs(one - other) <= NEAR_CENTS for one, other in zip(heard, written, strict=True)
    )


def _slip(event: Event, right: FollowedEvent, expected: Expected) -> FollowedEvent:
    place = _note(right)
    note = expected.notes[place]
    heard = tuple(voice.pitch for voice in event.voices)
    voices = tuple(range(len(heard)))
    return FollowedEvent(event.id, "wrong", place, note.ref, voices, 0, heard, note.pitches)


def _without_octaves(
    row: FollowedEvent, heard: Sequence[float], expected: Expected
) -> FollowedEvent:
    """A double stop wrong by nothing but an octave, as the part of it that was heard right."""
    if row.state != "wrong" or row.note is None or row.reading or len(heard) < 2:
        return row
    voices = _right_voices(heard, expected.cents[row.note])
    if voices is None:
        return row
    return replace(row, state="part", voices=voices, heard=(), expected=())


def _right_voices(
    heard: Sequence[float], written: Sequence[float]
) -> tuple[int | None, ...] | None:
    """Which written pitch each voice is, ``None`` for one an octave off.

    Nothing where a voice is neither, or where all are off.
    """
    if len(heard) != len(written):
        return None
    for places in permutations(range(len(written))):
        off = [abs(one - written[place]) for one, place in zip(heard, places, strict=True)]
        right = [each <= MATCH_CENTS for each in off]
        octave = [abs(each - OCTAVE_CENTS) <= MATCH_CENTS for each in off]
        if any(right) and all(r or o for r, o in zip(right, octave, strict=True)):
            return tuple(place if ok else None for place, ok in zip(places, right, strict=True))
    return None

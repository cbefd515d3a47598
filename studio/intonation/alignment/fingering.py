"""String and finger of what was heard, from the drill's fingering."""

from dataclasses import replace

from studio.intonation.model.following import FollowedEvent, Following
from studio.intonation.model.measurement import Event, Measurement, Voice


def with_fingering(measurement: Measurement, following: Following) -> Measurement:
    """The same measurement; voices that are a written note have its string and finger."""
    rows = {row.event: row for row in following.events}
    return measurement.with_events(
        tuple(_event(event, rows[event.id], following) for event in measurement.events)
    )


def _event(event: Event, row: FollowedEvent, following: Following) -> Event:
    if row.note is None or row.state == "wrong" or row.reading:
        return event
    note = following.score[row.note]
    return replace(
        event,
        voices=tuple(
            voice
            if place is None
            else _voice(voice, _at(note.strings, place), _at(note.fingers, place))
            for voice, place in zip(event.voices, row.voices, strict=True)
        ),
    )


def _at(values: tuple[int | None, ...], place: int) -> int | None:
    return values[place] if values else None


def _voice(voice: Voice, string: int | None, finger: int | None) -> Voice:
    return replace(
        voice,
        string=voice.string if string is None else string,
        finger=voice.finger if finger is None else finger,
    )

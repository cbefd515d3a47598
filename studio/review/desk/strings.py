"""On which string and with which finger each heard note was to be played, as the drill says it.

The sound alone seldom tells: without a drill's fingering there is nothing here.
"""

from collections.abc import Sequence

from studio.intonation import ExpectedNote
from studio.review.judging import Judged, expected_notes
from studio.theory import Pitch

UNSAID_STRING, UNSAID_FINGER = 0, -1
SAME_NOTE_SEMITONES = 1  # a note far off is heard as its neighbour
Place = tuple[int, int]  # string and finger


def of(judged: Judged | None) -> dict:
    """The strings from the highest down, ``{"strings": [...]}``; empty without a fingering."""
    if judged is None or not _written(judged):
        return {}
    names = judged.measurement["options"]["open_strings"]
    return {"strings": [Pitch.parse(name).pretty[:-1] for name in reversed(names)]}


def columns(events: Sequence[dict], judged: Judged | None) -> dict:
    """``strings`` and ``fingers``, one entry a voice; empty without a fingering."""
    written = _written(judged) if judged else {}
    if judged is None or not written:
        return {}
    refs = _refs(judged)
    places = [
        place
        for event in events
        for place in _places(event, written.get(refs.get(event["id"], "")))
    ]
    return {
        "strings": [string for string, _ in places],
        "fingers": [finger for _, finger in places],
    }


def _written(judged: Judged) -> dict[str, ExpectedNote]:
    """What the drill asks for with strings, by its id."""
    notes = expected_notes(judged.review) or []
    return {note.ref: note for note in notes if note.ref and any(note.strings)}


def _refs(judged: Judged) -> dict[int, str]:
    """What each event was a playing of, or a note of."""
    found: dict[int, str] = {}
    for run in judged.judgement["runs"]:
        if run["score_ref"]:
            found |= dict.fromkeys(run["events"], run["score_ref"])
    return found


def _places(event: dict, note: ExpectedNote | None) -> list[Place]:
    unsaid = (UNSAID_STRING, UNSAID_FINGER)
    if note is None:
        return [unsaid] * len(event["voices"])
    fingers = note.fingers or (None,) * len(note.pitches)
    asked = {
        Pitch.parse(name).midi: (
            string or UNSAID_STRING,
            UNSAID_FINGER if finger is None else finger,
        )
        for name, string, finger in zip(note.pitches, note.strings, fingers, strict=True)
    }
    return [_nearest(voice["midi"], asked, unsaid) for voice in event["voices"]]


def _nearest(midi: int, asked: dict[int, Place], unsaid: Place) -> Place:
    near = min(asked, key=lambda other: abs(other - midi))
    return asked[near] if abs(near - midi) <= SAME_NOTE_SEMITONES else unsaid

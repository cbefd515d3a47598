"""The JSON documents that the sound picture draws from: small ones, fetched as they are needed.

``GET /clips/<uuid>/desk.json`` is what the whole clip is drawn from. It is written in columns, one
entry an event in the order of their starts, and times are whole milliseconds::

    {"schema": 2, "duration_s": 83.2, "frame_rate": 30.0, "a4_hz": 441.3, "part_s": 60,
     "events": {
       "ids": [0, 1, 1], "starts": [1020, 2400, 900], "lengths": [500, 2080, 700],
       "kinds": "sdd", "verdicts": "-on", "tolerances": [null, 15, 15],
       "names": ["B♭3", "octave B♭3–B♭4"], "named": [0, 1, 1],
       "voices": [1, 2, 2], "midis": [58, 58, 70, 58, 70], "lifts": [0, 0, 184, 0, 31],
       "offsets": [0, 0, 0, 0, 80, -20, 0, 0, 0, 0]},
     "outline": {"levels": [{"per_second": 6.25, "count": 520, "data": "…"}]}}

``ids`` and ``starts`` are differences to the event before. ``kinds`` and ``verdicts`` have one
letter an event: single, double stop, chord; in tune, near, out, unsure, or ``-`` for none. Per
voice: MIDI number, *lift* in tenths of a cent, and by how much it begins after and ends after its
event. A voice's lift is its distance from where it would stand if the pair were in tune. Where a
mark says which voice is to move, the other one is the standard; else the lower one. Where a drill's
fingering says them there are also ``"strings": ["E", "A", "D", "G"]`` beside ``events`` and in it
``strings`` and ``fingers`` a voice: the string's number, 0 where it is not said, and the finger, −1
likewise. ``outline`` is
that of :mod:`studio.media.peaks` without its fine levels, ``null`` while there is none.

``GET /clips/<uuid>/desk/parts/<n>.json`` is what shows only nearer, for the events that begin in
the ``part_s`` seconds from ``n * part_s`` on::

    {"schema": 2, "part": 3, "tracks": [[4, 0, 181020, 50, 42]], "cents": "…",
     "outline": {"per_second": 100.0, "first": 18000, "count": 6000, "data": "…"}}

A track is [event, voice, start in ms, step in ms, count]; ``cents`` (base64) holds all of them
one after the other, a signed byte a step: whole cents from the voice's own settled pitch, so that
the line drawn is lift plus track, each as the difference to the one before it modulo 256; −128
where the voice could not be followed. Beyond ±127 c they stay there: no drawing goes so far.

Marks and comments are not in here: the page has them, and the picture reads them there.
"""

import base64
import json
import logging
import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

from studio.clips.models import Clip, Rendition
from studio.clips.storage.stores import store
from studio.intonation import ExpectedNote
from studio.review.marks.judging import Judged, expected_notes
from studio.theory import Pitch

from .ledger import blocks_of, tolerance_of

log = logging.getLogger(__name__)

SCHEMA = 2
PART_S = 60
COARSE_PAIRS = 6000  # of the outline: enough for the widest screen, about 16 KB
LOST = -128
FARTHEST_CENTS = 127
VERDICT_LETTERS = {"in_tune": "i", "near": "n", "out": "o", "unsure": "u"}


def picture(clip: Clip, judged: Judged | None) -> dict:
    """The document of one clip; without events while nothing has been heard."""
    measurement = judged.measurement if judged else {}
    levels = [level for level in _levels(clip) if level["count"] <= COARSE_PAIRS]
    return {
        "schema": SCHEMA,
        "duration_s": clip.duration_s or (measurement.get("source") or {}).get("duration_s", 0.0),
        "frame_rate": clip.frame_rate,
        "a4_hz": (measurement.get("reference") or {}).get("a4_hz"),
        "part_s": PART_S,
        "events": _columns(judged),
        **strings_of(judged),
        "outline": {"levels": levels} if levels else None,
    }


def parts_of(duration_s: float) -> int:
    """How many parts a clip has."""
    return max(1, math.ceil(duration_s / PART_S))


def part(clip: Clip, judged: Judged | None, number: int) -> dict:
    """What shows only nearer, for one part of a clip."""
    from_s, to_s = number * PART_S, (number + 1) * PART_S
    events = _in_order(judged)
    begun = [event for event in events if from_s <= event["start_s"] < to_s]
    tracks: list[list] = []
    cents: list[float | None] = []
    for event, place, track in _tracks(begun):
        start_ms, step_ms = _ms(track["start_s"]), _ms(track["step_s"])
        tracks.append([event["id"], place, start_ms, step_ms, len(track["cents"])])
        cents += track["cents"]
    return {
        "schema": SCHEMA,
        "part": number,
        "tracks": tracks,
        "cents": _packed(cents),
        "outline": _fine_outline(clip, from_s, to_s),
    }


def _columns(judged: Judged | None) -> dict:
    events = _in_order(judged)
    return {
        "ids": _differences([event["id"] for event in events]),
        "starts": _differences([_ms(event["start_s"]) for event in events]),
        "lengths": [_ms(event["end_s"]) - _ms(event["start_s"]) for event in events],
        "kinds": "".join(event["kind"][0] for event in events),
        **_judged_columns(events, judged),
        "voices": [len(event["voices"]) for event in events],
        "midis": [voice["midi"] for event in events for voice in event["voices"]],
        "offsets": [offset for event in events for offset in _offsets(event)],
        **string_columns(events, judged),
    }


def _judged_columns(events: Sequence[dict], judged: Judged | None) -> dict:
    """The columns that a judgement fills."""
    if judged is None:
        return {"verdicts": "", "tolerances": [], "names": [], "named": [], "lifts": []}
    policy, moving = judged.judgement["policy"], _moving(judged)
    rows = {row.event: row for b in blocks_of(judged, []) for row in (*b.rows, *b.singles)}
    # The first interval of an event is what its row shows.
    intervals = {row["event"]: row for row in reversed(judged.judgement["intervals"])}
    found = [intervals.get(event["id"]) for event in events]
    names: dict[str, int] = {}
    spoken = [rows[event["id"]].name if event["id"] in rows else "" for event in events]
    lifts = [
        round(10 * cents)
        for event, interval in zip(events, found, strict=True)
        for cents in _lifts(event, interval, moving.get(event["id"]))
    ]
    return {
        "verdicts": "".join(VERDICT_LETTERS.get(i["verdict"], "-") if i else "-" for i in found),
        "tolerances": [tolerance_of(policy, i["short"]) if i else None for i in found],
        "named": [names.setdefault(name, len(names)) for name in spoken],
        "names": list(names),
        "lifts": lifts,
    }


def _offsets(event: dict) -> list[int]:
    """By how many milliseconds each voice begins and ends after its event does."""
    found = []
    for voice in event["voices"]:
        for edge in ("start_s", "end_s"):
            own = voice.get(edge)
            found.append(_ms(event[edge] if own is None else own) - _ms(event[edge]))
    return found


def _in_order(judged: Judged | None) -> list[dict]:
    events = judged.measurement["events"] if judged else []
    return sorted(events, key=lambda event: event["start_s"])


def _moving(judged: Judged) -> dict[int, int]:
    """For each event of a marked run, the voice that the mark asks to move, if it says so."""
    runs = {run["id"]: run["events"] for run in judged.judgement["runs"]}
    found: dict[int, int] = {}
    for mark in judged.judgement["marks"]:
        if mark["voice"] is not None:
            for event in runs.get(mark["run"], mark["events"]):
                found[event] = mark["voice"]
    return found


def _lifts(event: dict, interval: dict | None, moving: int | None) -> list[float]:
    lifts = [0.0] * len(event["voices"])
    if interval and interval["deviation_cents"] is not None:
        if moving == interval["low"]:
            lifts[moving] = -interval["deviation_cents"]  # too wide: the lower stands too low
        else:
            lifts[interval["high"]] = interval["deviation_cents"]
    return lifts


def _tracks(events: Sequence[dict]) -> Iterator[tuple[dict, int, dict]]:
    for event in events:
        for place, voice in enumerate(event["voices"]):
            track = voice.get("track")
            if track and track["cents"]:
                yield event, place, track


def _levels(clip: Clip) -> list[dict]:
    """The stored outline's levels, from fine to coarse; none while there is no outline."""
    made = next((r for r in clip.renditions.all() if r.kind == Rendition.Kind.PEAKS), None)
    if made is None:
        return []
    try:
        return json.loads(b"".join(store().read(made.path, 0, made.size_bytes)))["levels"]
    except (FileNotFoundError, ValueError):
        log.error("%s cannot be read; run verify", made.path)
        return []  # the ledger does not wait for a drawing


def _fine_outline(clip: Clip, from_s: float, to_s: float) -> dict | None:
    """The finest level between two times, where the whole clip's outline goes without it."""
    level = next(iter(_levels(clip)), None)
    if level is None or level["count"] <= COARSE_PAIRS:
        return None
    first = min(round(from_s * level["per_second"]), level["count"])
    last = min(round(to_s * level["per_second"]), level["count"])
    data = base64.b64decode(level["data"])[2 * first : 2 * last]  # a pair is two bytes
    return {
        "per_second": level["per_second"],
        "first": first,
        "count": last - first,
        "data": base64.b64encode(data).decode("ascii"),
    }


def _packed(cents: Sequence[float | None]) -> str:
    far = FARTHEST_CENTS
    held = [LOST if value is None else round(min(max(value, -far), far)) for value in cents]
    steps = bytes((after - before) % 256 for before, after in pairwise([0, *held]))
    return base64.b64encode(steps).decode("ascii")


def _differences(values: Sequence[int]) -> list[int]:
    return [values[0], *(b - a for a, b in pairwise(values))] if values else []


def _ms(seconds: float) -> int:
    return round(1000 * seconds)


UNSAID_STRING, UNSAID_FINGER = 0, -1
SAME_NOTE_SEMITONES = 1  # a note far off is heard as its neighbour
Place = tuple[int, int]  # string and finger


def strings_of(judged: Judged | None) -> dict:
    """The strings from the highest down, ``{"strings": [...]}``; empty without a fingering."""
    if judged is None or not _written(judged):
        return {}
    names = judged.measurement["options"]["open_strings"]
    return {"strings": [Pitch.parse(name).pretty[:-1] for name in reversed(names)]}


def string_columns(events: Sequence[dict], judged: Judged | None) -> dict:
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

"""The JSON document that the sound picture draws from.

``GET /clips/<uuid>/desk.json``::

    {"schema": 1, "duration_s": 83.2, "frame_rate": 30.0, "a4_hz": 441.3, "events": [
      {"id": 4, "kind": "double_stop", "start_s": 1.02, "end_s": 3.1, "name": "octave B♭3–B♭4",
       "verdict": "out", "tolerance_cents": 15, "voices": [
         {"midi": 58, "start_s": 1.02, "end_s": 3.1, "lift_cents": 0,
          "track": {"start_s": 1.02, "step_s": 0.02, "cents": [2, 1, 0, null]}}, …]}]}

A voice's *lift* is its distance in cents from where it would stand if the pair were in tune.
Where a mark says which voice is to move, the other one is the standard; else the lower one.
``track`` is relative to the voice's own settled pitch, so the line drawn is lift plus track.
Marks and comments are not in here: the page has them, and the picture reads them there.
"""

from studio.review.judging import Judged
from studio.review.models import Review

from .ledger import blocks_of, tolerance_of

SCHEMA = 1


def picture(review: Review, judged: Judged | None) -> dict:
    """The document of one clip; without events while nothing has been heard."""
    clip = review.clip
    measurement = judged.measurement if judged else {}
    return {
        "schema": SCHEMA,
        "duration_s": clip.duration_s or (measurement.get("source") or {}).get("duration_s", 0.0),
        "frame_rate": clip.frame_rate,
        "a4_hz": (measurement.get("reference") or {}).get("a4_hz"),
        "events": _events(judged) if judged else [],
    }


def _events(judged: Judged) -> list[dict]:
    rows = {row.event: row for b in blocks_of(judged, []) for row in (*b.rows, *b.singles)}
    intervals: dict[int, dict] = {}
    for interval in judged.judgement["intervals"]:
        intervals.setdefault(interval["event"], interval)
    moving = _moving(judged)
    policy = judged.judgement["policy"]
    found = []
    for event in judged.measurement["events"]:
        interval = intervals.get(event["id"])
        deviation = interval["deviation_cents"] if interval else None
        found.append(
            {
                "id": event["id"],
                "kind": event["kind"],
                "start_s": round(event["start_s"], 3),
                "end_s": round(event["end_s"], 3),
                "name": rows[event["id"]].name if event["id"] in rows else "",
                "verdict": interval["verdict"] if interval else None,
                "tolerance_cents": tolerance_of(policy, interval["short"]) if interval else None,
                "voices": _voices(event, interval, deviation, moving.get(event["id"])),
            }
        )
    return sorted(found, key=lambda event: event["start_s"])


def _moving(judged: Judged) -> dict[int, int]:
    """For each event of a marked run, the voice that the mark asks to move, if it says so."""
    runs = {run["id"]: run["events"] for run in judged.judgement["runs"]}
    found: dict[int, int] = {}
    for mark in judged.judgement["marks"]:
        if mark["voice"] is not None:
            for event in runs.get(mark["run"], mark["events"]):
                found[event] = mark["voice"]
    return found


def _voices(event: dict, interval: dict | None, deviation: float | None, moving: int | None):
    lifts = [0.0] * len(event["voices"])
    if interval and deviation is not None:
        if moving == interval["low"]:
            lifts[interval["low"]] = -deviation  # too wide: the lower voice stands too low
        else:
            lifts[interval["high"]] = deviation
    return [
        {
            "midi": voice["midi"],
            "start_s": round(voice.get("start_s") or event["start_s"], 3),
            "end_s": round(voice.get("end_s") or event["end_s"], 3),
            "lift_cents": round(lift, 1),
            "track": _track(voice.get("track")),
        }
        for voice, lift in zip(event["voices"], lifts, strict=True)
    ]


def _track(track: dict | None) -> dict | None:
    """Whole cents are finer than a pixel, and a third of the bytes."""
    if not track or not track["cents"]:
        return None
    cents = [None if value is None else round(value) for value in track["cents"]]
    return {"start_s": round(track["start_s"], 3), "step_s": track["step_s"], "cents": cents}

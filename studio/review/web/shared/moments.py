"""What a pupil reads of a returned clip; the teacher's preview shows the same."""

from studio import figures
from studio.review.models import Comment

TRACK_LINE_Y, TRACK_LIFT = 20, 9  # px, as review/track.html draws it
LEAD_IN_S = 2.0  # a press plays from this long before the moment, so that it is heard coming


def moments(snapshot: dict, duration_s: float | None, *, for_guardian: bool = False) -> list[dict]:
    """The moments of a snapshot, each with where a press plays from and its place on the track.

    ``percent`` is along the clip (0 to 100); ``y`` is on the line, or above it for what was wide
    or sharp, below it for what was narrow or flat. A guardian reads the program's sentences about
    the child, and the teacher's own words as they were written.
    """
    found = [moment | _placed(moment, duration_s) for moment in snapshot["moments"]]
    if for_guardian:
        found = [moment | {"text": moment.get("guardian_text", moment["text"])} for moment in found]
    return found


def went_well(snapshot: dict) -> str:
    """What the teacher first said was well done in a returned clip; empty where nothing was."""
    praised = (m["text"] for m in snapshot["moments"] if m.get("kind") == Comment.Kind.WELL_DONE)
    return next((text for text in praised if text), "")


def _placed(moment: dict, duration_s: float | None) -> dict:
    start_s = moment["start_s"]
    deviation = (moment.get("params") or {}).get("deviation_cents") or 0
    lift = (deviation > 0) - (deviation < 0)
    return {
        "play_from_s": max(0.0, start_s - LEAD_IN_S),
        "until_s": start_s if moment.get("end_s") is None else moment["end_s"],
        "percent": figures.decimal(min(100.0, 100 * start_s / duration_s), 2)
        if duration_s
        else "0",
        "y": TRACK_LINE_Y - TRACK_LIFT * lift,
    }

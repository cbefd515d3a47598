"""What a moment of a returned clip can be heard as: as played, in tune, and in an earlier clip.

Everything comes from what was frozen with the returns (:mod:`studio.review.returning.snapshots`):
the span and the frequencies of the moment, and of an earlier clip of the same drill the span of
the same double stop, found by :func:`studio.review.comparison.pairs`. ``static/pages/by-ear.js``
plays it.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from studio.review import comparison
from studio.review.comparison import Sounded
from studio.review.models import Return, Review

from . import pictures

EARLIER = 3  # clips that are looked through for a double stop; chosen
NEAR_S = 0.01  # the same playing, whichever of two documents says when it began


@dataclass(frozen=True, slots=True)
class Then:
    """The same double stop in an earlier clip: when that was sent, its address, and both spans."""

    sent_at: datetime
    address: str
    start_s: float
    end_s: float
    now_s: tuple[float, float]

    def to_dict(self) -> dict[str, Any]:
        """As the page's script reads it."""
        spans = {"start": self.start_s, "end": self.end_s, "now": list(self.now_s)}
        return {"src": self.address, **spans}


def with_sound(
    moments: Sequence[dict], snapshot: Mapping, review: Review, earlier: Sequence[Return]
) -> list[dict]:
    """Moments, each with what the page can play of it (``by_ear``) where anything was measured.

    Parameters
    ----------
    moments : as :func:`.moments.moments` gives them
    snapshot : the document that they come from
    review : of the clip that is shown
    earlier : returns of the same drill that can be heard, the newest first
    """
    then = _earlier_stops(snapshot, review, earlier)
    return [moment | _by_ear(moment, snapshot, then) for moment in moments]


def _by_ear(moment: dict, snapshot: Mapping, then: Mapping[float, Then]) -> dict:
    heard = moment.get("heard")
    if not heard:
        return {}
    names = {"name": "name", "start_s": "start", "end_s": "end", "hz": "hz", "levels_db": "levels"}
    sound = {short: heard[name] for name, short in names.items()}
    before = then.get(_stop_of(heard, snapshot))
    if before is not None:
        sound["then"] = before.to_dict()
    return {"by_ear": json.dumps(sound, separators=(",", ":")), "then": before}


def _stop_of(heard: Mapping, snapshot: Mapping) -> float | None:
    """When the run of a moment was last played, which is what its clip's stops are known by."""
    at_s = heard["start_s"]
    for stop in snapshot.get("stops", ()):
        if stop["begins_s"] - NEAR_S <= at_s <= stop["end_s"] and stop["name"] == heard["name"]:
            return float(stop["start_s"])
    return None


def _earlier_stops(
    snapshot: Mapping, review: Review, earlier: Sequence[Return]
) -> dict[float, Then]:
    """The newest earlier playing of each double stop, by when it was played now."""
    found: dict[float, Then] = {}
    now = _sounded(snapshot)
    for returned in earlier:
        clip, answered = returned.review.clip, returned.review.answers
        picture = pictures.of(clip).first
        if picture is None or answered is None or review.answers is None:
            continue
        by_ref = answered.version_id == review.answers.version_id
        for pair in comparison.pairs(_sounded(returned.snapshot), now, by_ref=by_ref):
            if pair.then and pair.now:
                spans = (pair.then.start_s, pair.then.end_s, (pair.now.start_s, pair.now.end_s))
                then = Then(clip.created_at, picture.address, *spans)
                found.setdefault(pair.now.start_s, then)
    return found


def _sounded(snapshot: Mapping) -> list[Sounded]:
    return [
        Sounded(stop["name"], stop["start_s"], stop["end_s"], ref=stop["ref"])
        for stop in snapshot.get("stops", ())
    ]

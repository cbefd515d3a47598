"""The same double stop then and now, to be heard: one press each.

Of the answer that is shown, the double stop that was played over the longest time: the same notes
on the same strings in the same drill. Both playings are spans that were frozen with the returns of
their clips (``stops`` of :mod:`studio.review.returning.snapshots`); where a recording has gone,
there is nothing to hear, and nothing is shown.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np

from studio.accounts.prepared import IsOneOf, Prepared
from studio.review.models import Return
from studio.review.web.shared import pictures

from .trends import Answers, Trend

LEAST_WEEKS = 4  # apart: chosen; less is no "then"
TRIED = 3  # double stops that are looked for, the longest time first; a recording may be gone
NEAR_S = 0.05  # a row keeps its time in single precision, a return in full


@dataclass(frozen=True, slots=True)
class Playing:
    """One playing: the day of its clip, the recording's address, and its span in seconds."""

    clip: object
    day: date
    address: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class ThenNow:
    name: str
    then: Playing
    now: Playing


def then_now(found: Answers, trend: Trend | None) -> ThenNow | None:
    """Both playings of one double stop; ``None`` where there is nothing to hear so."""
    pairs = _pairs(found, trend) if trend is not None else []
    if not pairs:
        return None
    clips = found.playings.clips
    wanted = {clips[int(found.playings.clip[row])].clip for pair in pairs for row in pair}
    returns = {returned.review.clip_id: returned for returned in _returns(clips=wanted)}
    for pair in pairs:
        both = [_heard(found, row, returns) for row in pair]
        if both[0] is not None and both[1] is not None and both[0][0] == both[1][0]:
            return ThenNow(both[0][0], both[0][1], both[1][1])
    return None


_returns = Prepared(
    lambda: (
        Return.objects.filter(IsOneOf("review__clip", "clips"))
        .select_related("review__clip")
        .prefetch_related("review__clip__stages", "review__clip__renditions")
    )
)


def _pairs(found: Answers, trend: Trend) -> list[tuple[int, int]]:
    """Rows of the same double stop, the first and the last, the longest time between them first."""
    playings, places = found.playings, trend.places
    places = places[playings.rows["high"][places] > 0]
    if not len(places):
        return []
    rows = playings.rows[places]
    clip = playings.clip[places]
    _, drill = np.unique([each.drill for each in playings.clips], return_inverse=True)
    like = rows["strings"][:, 1].astype(np.int64)
    for part in (rows["strings"][:, 0], rows["high"], rows["low"]):
        like = (like << 8) + part  # each is below 256
    like = like * len(drill) + drill[clip]  # one number for what is alike: quick to put in order
    order = np.lexsort((clip, like))
    begins = np.flatnonzero(np.diff(like[order], prepend=-1))
    first = places[order[begins]]
    last = places[order[np.append(begins[1:], len(order)) - 1]]
    apart = playings.week[last] - playings.week[first]
    longest = np.argsort(-apart, kind="stable")[:TRIED]
    return [(int(first[n]), int(last[n])) for n in longest if apart[n] >= LEAST_WEEKS]


def _heard(found: Answers, row: int, returns: dict) -> tuple[str, Playing] | None:
    clip = found.playings.clips[int(found.playings.clip[row])]
    returned = returns.get(clip.clip)
    picture = pictures.of(returned.review.clip).first if returned else None
    at_s = float(found.playings.rows["at_s"][row])
    stops = returned.snapshot.get("stops", ()) if returned else ()
    stop = next((each for each in stops if abs(each["start_s"] - at_s) <= NEAR_S), None)
    if picture is None or stop is None:
        return None
    span = (stop["start_s"], stop["end_s"])
    return stop["name"], Playing(clip.clip, clip.day, picture.address, *span)

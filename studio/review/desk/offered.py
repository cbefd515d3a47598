"""Which earlier clips a clip can be compared with.

First those that answer the same drill, whichever version, then others of the pupil in which one of
its double stops was heard. A listening never changes, so the double stops of each are found once
and kept for a while.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from uuid import UUID

from studio.accounts.models import Person
from studio.clips.models import Listening
from studio.drills.access import scores_of
from studio.review import access
from studio.review.models import Review
from studio.review.recent import Recent

MOST = 40  # of the pupil's newest; further back a list of clips is no help
KEPT, KEPT_S = 400, 600.0

Stops = frozenset[tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Offered:
    """Reviews of earlier clips, newest first."""

    same_drill: tuple[Review, ...] = ()
    others: tuple[Review, ...] = ()

    @property
    def groups(self) -> tuple[tuple[str, tuple[Review, ...]], ...]:
        """As a list shows them, each with its heading."""
        named = (
            ("The same drill", self.same_drill),
            ("Other clips with some of the same double stops", self.others),
        )
        return tuple((name, reviews) for name, reviews in named if reviews)

    @property
    def default(self) -> Review | None:
        return next(iter((*self.same_drill, *self.others)), None)


def offered_to(person: Person, review: Review) -> Offered:
    """What ``person`` may compare a clip with."""
    earlier = access.earlier_heard(person, review.clip).defer(*scores_of("answers__version"))
    found = list(earlier[:MOST])
    same = [other for other in found if _same_drill(other, review)]
    rest = [other for other in found if other not in same]
    heard = _double_stops([review, *rest])
    here = heard.get(review.clip_id, frozenset())
    others = [other for other in rest if here & heard.get(other.clip_id, frozenset())]
    return Offered(tuple(same), tuple(others))


def _same_drill(one: Review, other: Review) -> bool:
    if one.answers is None or other.answers is None:
        return False
    return one.answers.version.drill_id == other.answers.version.drill_id


_RECENT: Recent[tuple[int, UUID, datetime], Stops] = Recent(KEPT, KEPT_S)


def _double_stops(reviews: Sequence[Review]) -> dict[UUID, Stops]:
    """The double stops of each clip's newest listening, as MIDI numbers, by the clip's id."""
    rows = Listening.objects.filter(clip__in=[review.clip_id for review in reviews])
    named = rows.order_by("created_at", "pk").values_list("pk", "clip_id", "created_at")
    newest = {row[1]: row for row in named}
    read = cache(lambda: _read([row[0] for row in newest.values()]))
    return {clip: _RECENT.get(row, lambda pk=row[0]: read()[pk]) for clip, row in newest.items()}


def _read(listenings: Sequence[int]) -> Mapping[int, Stops]:
    """One measurement after the other: all at once would be a great deal of memory."""
    rows = Listening.objects.filter(pk__in=listenings).values_list("pk", "measurement")
    found = dict.fromkeys(listenings, frozenset[tuple[int, ...]]())
    return found | {pk: _stops(measurement) for pk, measurement in rows.iterator(chunk_size=4)}


def _stops(measurement: dict) -> Stops:
    pairs = (event for event in measurement["events"] if event["kind"] == "double_stop")
    return frozenset(tuple(voice["midi"] for voice in event["voices"]) for event in pairs)

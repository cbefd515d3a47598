"""A playing against an earlier one: pairs of double stops, and how each of them changed.

Cents are deviations from the target, wide positive. What is compared is their size: +8 and −8 are
equally far off. Both are of one generation of engines, or no change is said: of two, the figures
do not mean the same. A change is said only where it is larger than twice its own uncertainty,
which is sqrt(u1² + u2²) of the two playings' standard deviations; less is the same within what can
be told.

Earlier clips to compare with (:func:`offered_to`) are first those that answer the same drill,
whichever version, then others of the pupil in which one of its double stops was heard. A listening
never changes, so the double stops of each are found once and kept for a while.
"""

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from uuid import UUID

from django.utils.translation import gettext as _

from studio.accounts.models import Person
from studio.clips.models import Listening
from studio.drills.access import scores_of
from studio.intonation.model.judgement import SURE
from studio.review import access
from studio.review.models import Review

from .ttl_cache import TtlCache

CLOSER, FURTHER, SAME, UNSURE = "closer", "further", "same", "unsure"
ONLY_THEN, ONLY_NOW = "only_then", "only_now"
OTHER_ENGINE = "other_engine"
WAYS = (CLOSER, FURTHER, SAME, UNSURE, ONLY_THEN, ONLY_NOW, OTHER_ENGINE)
LEAST_CENTS = 0.5  # figures are shown in whole cents: less would read as a change by nothing


@dataclass(frozen=True, slots=True)
class Sounded:
    """One playing of a double stop. ``cents`` is ``None`` where its measurement is unsure.

    ``generation`` is that of the engine that heard it.

    ``name`` is spelled (``octave B♭3–B♭4``); ``ref`` is what is written there, in a clip that
    follows a drill's page; ``anchor`` is its row at the desk.
    """

    name: str
    start_s: float
    end_s: float
    cents: float | None = None
    uncertainty_cents: float | None = None
    ref: str = ""
    anchor: str = ""
    events: tuple[int, ...] = ()
    generation: int = 0


@dataclass(frozen=True, slots=True)
class Change:
    """Which way, by how many cents (0 or more), and the standard deviation of that."""

    way: str
    cents: float = 0.0
    uncertainty_cents: float | None = None


@dataclass(frozen=True, slots=True)
class Pair:
    """The same double stop in an earlier clip and in the present one; one may be missing."""

    then: Sounded | None
    now: Sounded | None

    @property
    def name(self) -> str:
        found = self.now or self.then
        return found.name if found else ""

    @property
    def change(self) -> Change:
        if self.then is None or self.now is None:
            return Change(ONLY_NOW if self.then is None else ONLY_THEN)
        return change(self.then, self.now)


def change(then: Sounded, now: Sounded) -> Change:
    """How much nearer to its target, or further from it, the later playing is.

    >>> change(Sounded("a", 0, 1, -30.0, 3.0), Sounded("a", 2, 3, 8.0, 4.0))
    Change(way='closer', cents=22.0, uncertainty_cents=5.0)
    """
    if then.generation != now.generation:
        return Change(OTHER_ENGINE)
    before, after = then.cents, now.cents
    doubts = (then.uncertainty_cents, now.uncertainty_cents)
    if before is None or after is None or doubts[0] is None or doubts[1] is None:
        return Change(UNSURE)
    by, doubt = abs(after) - abs(before), math.hypot(doubts[0], doubts[1])
    if abs(by) <= SURE * doubt or abs(by) < LEAST_CENTS:
        return Change(SAME, abs(by), doubt)
    return Change(CLOSER if by < 0 else FURTHER, abs(by), doubt)


def pairs(then: Sequence[Sounded], now: Sequence[Sounded], *, by_ref: bool) -> list[Pair]:
    """Pairs in the order of ``now``; what was only played then comes last.

    Parameters
    ----------
    then, now : one playing for each place of a clip, in order
    by_ref : both clips follow the same page, so that a written note is paired with itself; else,
        and for what is not written there, the n-th time of a double stop with its n-th time
    """
    earlier, later = _keyed(then, by_ref), _keyed(now, by_ref)
    found = [Pair(earlier.get(key), note) for key, note in later.items()]
    return found + [Pair(note, None) for key, note in earlier.items() if key not in later]


def landing(found: Sequence[Pair], event: int | None = None, at_s: float = 0.0) -> Pair | None:
    """The pair to begin with: the one an event of ``now`` is in, else the nearest to a time.

    Only what was played both then and now can be compared, so nothing else is landed on; ``None``
    where there is no such pair. Of equally near ones the first counts.
    """
    both = [pair for pair in found if pair.then and pair.now]
    meant = next((pair for pair in found if pair.now and event in pair.now.events), None)
    if meant is not None and meant.now is not None:
        at_s = meant.now.start_s
    if meant in both:
        return meant
    return min(both, key=lambda pair: abs(pair.now.start_s - at_s) if pair.now else 0, default=None)


def counted(found: Iterable[Pair]) -> dict[str, int]:
    """How many pairs went each way, every way named."""
    counts = Counter(pair.change.way for pair in found)
    return {way: counts[way] for way in WAYS}


def _keyed(notes: Sequence[Sounded], by_ref: bool) -> dict[tuple[str, str, int], Sounded]:
    times: Counter[tuple[str, str]] = Counter()
    keyed = {}
    for note in notes:
        place = (note.ref, "") if by_ref and note.ref else ("", note.name)
        times[place] += 1
        keyed[(*place, times[place])] = note
    return keyed


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
            (_("The same drill"), self.same_drill),
            (_("Other clips with some of the same double stops"), self.others),
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


_RECENT: TtlCache[tuple[int, UUID, datetime], Stops] = TtlCache(KEPT, KEPT_S)


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

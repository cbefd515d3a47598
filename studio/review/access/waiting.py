"""What waits for a teacher: in a list, in a row, and in figures of each place."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

from django.db.models import (
    Aggregate,
    Count,
    DateTimeField,
    Exists,
    Expression,
    F,
    Max,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
)
from django.utils import timezone

from studio.accounts import access as people
from studio.accounts.models import Enrolment, Person
from studio.accounts.prepared import Given, IsOneOf, Prepared
from studio.clips.models import Clip, Listening, Stage
from studio.drills import access as drills
from studio.drills.access import scores_of
from studio.drills.models import Assignment
from studio.review.access.reviews import reviews_with_clips
from studio.review.models import Return, Review

NOW = Given("now", DateTimeField())
LONG_AGO = datetime(1970, 1, 1, tzinfo=UTC)


ORDERS = {
    "wait": (),
    "pupil": ("clip__enrolment__pupil__name", "clip__enrolment"),
    "drill": (F("answers__version__title").asc(nulls_last=True), "answers__version"),
    "length": (F("clip__duration_s").asc(nulls_last=True),),
    "found": ((F("marks_found") - F("marks_quiet")).desc(nulls_last=True),),
}


SAID_OF_A_STAGE = (
    *("clip", "kind", "state", "progress", "attempt", "failure_code", "failure_params"),
)


SAID_IN_A_ROW = (
    *("clip", "state", "marks_found", "marks_quiet", "double_stops_heard", "snoozed_until"),
    *("answers__version__title", "taken_by__name"),
    *(f"clip__{name}" for name in ("title", "note", "notes", "subject", "created_at")),
    *(f"clip__{name}" for name in ("intake", "duration_s", "has_video", "enrolment__studio")),
    "clip__enrolment__pupil__name",
)


def waiting_for(person: Person, order: str = "wait") -> QuerySet[Review]:
    """Clips that are not returned yet in the studios of a teacher, longest wait first.

    ``order`` puts something before the wait (see ``ORDERS``). Those that no teacher may watch,
    because consent does not hold, are not among them; those that rest are.
    """
    return waiting_in(Q(clip__enrolment__in=people.places_to_hear(person)), order)


def waiting_in(places: Q | Expression, order: str = "wait") -> QuerySet[Review]:
    """The same for places that are found another way."""
    return (
        reviews_with_clips()
        .filter(
            places,
            state__in=Review.UNANSWERED,
            clip__intake="received",
            clip__erased_at=None,
        )
        .defer(*scores_of("answers__version"))
        .order_by(*order_by(order))
    )


def order_by(order: str) -> tuple:
    """How clips that wait are put in order: what ``ORDERS`` says, then the longest wait first."""
    return (*ORDERS[order], "clip__created_at", "pk")


def awake(waiting: QuerySet[Review], now: datetime | Given | None = None) -> QuerySet[Review]:
    """Those that do not rest now."""
    return waiting.exclude(snoozed_until__gt=now or timezone.now())


def snoozed(waiting: QuerySet[Review], now: datetime | Given | None = None) -> QuerySet[Review]:
    """Those that rest, and come back by themselves."""
    return waiting.filter(snoozed_until__gt=now or timezone.now())


def in_list(reviews: QuerySet[Review]) -> QuerySet[Review]:
    """The same with no more of each than a row of the waiting list says."""
    return (
        reviews.select_related(None)
        .select_related("clip__enrolment__pupil", "answers__version", "taken_by")
        .prefetch_related(None)
        .only(*SAID_IN_A_ROW)
    )


def stages_in_list() -> QuerySet[Stage]:
    """What of a clip's stages a row of the waiting list says."""
    states = Stage.State
    open_or_ill = Q(state__in=(states.WAITING, states.WORKING, states.FAILED, states.PARKED))
    said = Stage.objects.filter(open_or_ill | Q(kind=Stage.Kind.LISTENING))
    return said.only(*SAID_OF_A_STAGE)


@dataclass(frozen=True, slots=True)
class WaitOfPlace:
    """How many clips of one place wait, rest and are late, and since when the first waits."""

    enrolment: int
    pupil: str
    total: int
    resting: int
    late: int
    first: datetime | None


def in_figures(waits: Iterable[WaitOfPlace]) -> dict:
    """All places together: ``total``, ``resting``, ``late`` and ``first``."""
    places = list(waits)
    begun = [place.first for place in places if place.first is not None]
    return {
        "total": sum(place.total for place in places),
        "resting": sum(place.resting for place in places),
        "late": sum(place.late for place in places),
        "first": min(begun, default=None),
    }


def next_for(person: Person, order: str = "wait") -> QuerySet[Review]:
    """What a teacher goes through clip by clip: awake, and not taken by a colleague."""
    return free_for(person, awake(waiting_for(person, order)))


def free_for(person: Person | Given, waiting: QuerySet[Review]) -> QuerySet[Review]:
    """Those that no colleague has taken."""
    return waiting.filter(Q(taken_by=None) | Q(taken_by=person))


def batch_for(person: Person) -> QuerySet[Review]:
    """Clips that can be looked through in a row; see :func:`batch_of`."""
    return batch_of(next_for(person))


def batch_of(reviews: QuerySet[Review]) -> QuerySet[Review]:
    """Those in which nothing was found or asked, and of which nothing was said yet.

    Each was heard and can be played. ``listening_id`` is its newest listening.
    """
    newest = Listening.objects.filter(clip=OuterRef("clip")).order_by("-created_at", "-pk")
    return without_a_word(reviews).annotate(listening_id=Subquery(newest.values("pk")[:1]))


def without_a_word(reviews: QuerySet[Review]) -> QuerySet[Review]:
    """The same without ``listening_id``."""
    stages = Stage.objects.filter(clip=OuterRef("clip"))
    heard = {"kind": Stage.Kind.LISTENING, "state": Stage.State.HEARD}
    playable = {"kind": Stage.Kind.PLAYBACK, "state": Stage.State.PLAYABLE}
    return reviews.exclude(clip__subject__in=Clip.ASKS).filter(
        Exists(stages.filter(**heard)),
        Exists(stages.filter(**playable)),
        clip__note="",
        marks_found=0,
        comments=None,
        hand_marks=None,
        drills_set=None,
    )


def counted(places: Iterable[Enrolment], *figures: str) -> list[Enrolment]:
    """Places with some of :data:`FIGURES`, whatever their number with one query for each.

    ``open_assignments`` and ``unread_returns`` are what the pupil has before them,
    ``clips_waiting`` and ``last_returned_at`` what the teacher has. ``places`` come from
    :mod:`studio.accounts.access`.
    """
    found = list(places)
    numbers = [place.pk for place in found]
    heard = [place.pk for place in found if place.consented]
    for name in figures:
        asked = heard if name == "clips_waiting" else numbers
        of_place = dict(_figures(name, places=asked, now=timezone.now()))
        none = None if name == "last_returned_at" else 0
        for place in found:
            setattr(place, name, of_place.get(place.pk, none))
    return found


def _open_assignments() -> QuerySet:
    open_now = Assignment.objects.filter(drills.published(NOW), done_at=None)
    return _each(open_now, "enrolment", Count("pk"))


def _clips_waiting() -> QuerySet:
    waiting = Review.objects.filter(state__in=Review.UNANSWERED, clip__erased_at=None)
    return _each(waiting, "clip__enrolment", Count("pk"))


def _unread_returns() -> QuerySet:
    unread = Return.objects.visible(NOW).filter(read_at=None, review__clip__erased_at=None)
    return _each(unread, "review__clip__enrolment", Count("pk"))


def _last_returned_at() -> QuerySet:
    # Whatever time is asked for: so the index that holds both times is enough for SQLite.
    returns = Return.objects.filter(visible_at__gt=LONG_AGO, review__clip__erased_at=None)
    return _each(returns, "review__clip__enrolment", Max("returned_at"))


FIGURES: dict[str, Callable[[], QuerySet]] = {
    "open_assignments": _open_assignments,
    "unread_returns": _unread_returns,
    "clips_waiting": _clips_waiting,
    "last_returned_at": _last_returned_at,
}


_figures = Prepared(lambda name: FIGURES[name]())


def _each(rows: QuerySet, place: str, figure: Aggregate) -> QuerySet:
    """A figure of the rows of each of the places that are given."""
    some = rows.filter(IsOneOf(place, "places"))
    return some.order_by().values_list(place).annotate(figure=figure)

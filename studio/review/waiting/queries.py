"""The waiting list's own questions, which a teacher's pages ask again and again.

As ``access`` puts them, with the places whose clips the teacher may hear, and the time, given.
"""

from collections.abc import Iterable, Sequence
from datetime import timedelta
from uuid import UUID

from django.db.models import (
    BigIntegerField,
    Count,
    DateTimeField,
    Exists,
    Min,
    OuterRef,
    Q,
    QuerySet,
    Value,
)
from django.utils import timezone

from studio.accounts import access as people
from studio.accounts.access import PERSON
from studio.accounts.models import Enrolment, Person, Studio, current
from studio.accounts.prepared import Given, IsOneOf, Prepared
from studio.clips.models import Stage
from studio.review import access
from studio.review.access import NOW, WaitOfPlace
from studio.review.models import Return, Review


def rows(
    person: Person, places: Iterable[int], order: str, most: int, *, resting: bool, whose: str
) -> list[Review]:
    """Clips of some places that wait, or that rest, with what a row of the list says.

    ``whose``: those of this person (``mine``), of ``nobody``, or ``all``.
    """
    now = timezone.now()
    return _rows(order, most, resting, whose, places=places, now=now, person=person.pk)


def stages(reviews: Iterable[Review]) -> dict[UUID, list[Stage]]:
    """What a row of the list says of the stages of each clip, by the clip's number."""
    clips = {review.clip_id: review.clip for review in reviews}
    found: dict[UUID, list[Stage]] = {number: [] for number in clips}
    for stage in _stages(clips=clips):
        stage.clip = clips[stage.clip_id]
        found[stage.clip_id].append(stage)
    return found


def withheld(places: Sequence[int], studios: Sequence[Studio]) -> list[Enrolment]:
    """Pupils of these studios of whom clips wait that may not be watched now: not of ``places``."""
    here = [studio.pk for studio in studios]
    return _withheld(bool(places), places=places, studios=here)


def waits_by_place(places: Iterable[int], studios: Sequence[Studio]) -> list[WaitOfPlace]:
    """The waits of each place that has any, by the pupil's name.

    Late is what has waited longer than its studio promises.
    """
    now = timezone.now()
    promises: dict = {f"studio{n}": studio.pk for n, studio in enumerate(studios)}
    for n, studio in enumerate(studios):
        promises[f"before{n}"] = now - timedelta(days=studio.answer_within_days)
    found = _waits_by_place(len(studios), places=places, now=now, **promises)
    return [WaitOfPlace(*row) for row in found]


def in_the_batch(person: Person, places: Iterable[int]) -> int:
    """How many clips can be looked through in a row; see ``access.batch_of``."""
    return _in_the_batch.first(places=places, now=timezone.now(), person=person.pk) or 0


def in_turn(person: Person, order: str) -> list[int]:
    """The reviews that a teacher goes through one by one; see ``access.next_for``."""
    places = people.places_to_hear(person)
    return _in_turn(order, places=places, now=timezone.now(), person=person.pk)


def clips_of_reviews(numbers: Iterable[int | None]) -> dict[int, UUID]:
    """Of which clip each of some reviews is."""
    return dict(_clips_of(reviews=numbers))


def pending_returns(person: Person) -> list[Return]:
    """What can still be taken back in the studios of a teacher, the newest first."""
    return _pending(now=timezone.now(), person=person.pk)


def _waiting(order: str = "wait") -> QuerySet[Review]:
    return access.waiting_in(IsOneOf("clip__enrolment", "places"), order)


@Prepared
def _rows(order: str, most: int, resting: bool, whose: str) -> QuerySet[Review]:
    waiting = _waiting(order)
    shown = access.snoozed(waiting, NOW) if resting else access.awake(waiting, NOW)
    if whose == "mine":
        shown = shown.filter(taken_by=PERSON)
    if whose == "nobody":
        shown = shown.filter(taken_by=None)
    # What a row says is looked up for those that are shown, not for all that are put in order.
    first = Review.objects.filter(pk__in=shown.values("pk")[:most])
    return access.in_list(first).order_by(*access.order_by(order))


_stages = Prepared(lambda: access.stages_in_list().filter(IsOneOf("clip", "clips")))


@Prepared
def _withheld(some_are_heard: bool) -> QuerySet[Enrolment]:
    waiting = Review.objects.filter(
        state__in=Review.UNANSWERED, clip__erased_at=None, clip__enrolment=OuterRef("pk")
    )
    here = Enrolment.objects.filter(current(), IsOneOf("studio", "studios"))
    if some_are_heard:  # in SQL nothing is "not among" nobody
        here = here.exclude(IsOneOf("pk", "places"))
    return here.filter(Exists(waiting)).select_related("pupil").order_by("pupil__name", "pk")


@Prepared
def _waits_by_place(studios: int) -> QuerySet:
    here, late = Q(snoozed_until=None) | Q(snoozed_until__lte=NOW), Q(pk=None)
    for n in range(studios):
        before = Given(f"before{n}", DateTimeField())
        studio = Given(f"studio{n}", BigIntegerField())
        late |= Q(clip__enrolment__studio=studio, clip__created_at__lte=before)
    return (
        _waiting()
        .order_by("clip__enrolment__pupil__name", "clip__enrolment")
        .values_list("clip__enrolment", "clip__enrolment__pupil__name")
        .annotate(
            total=Count("pk", filter=here),
            resting=Count("pk", filter=~here),
            late=Count("pk", filter=here & late),
            first=Min("clip__created_at", filter=here),
        )
    )


@Prepared
def _in_the_batch() -> QuerySet:
    found = access.without_a_word(access.free_for(PERSON, access.awake(_waiting(), NOW)))
    counted = found.order_by().values(all=Value(1)).annotate(many=Count("pk"))
    return counted.values_list("many", flat=True)


_clips_of = Prepared(
    lambda: Review.objects.filter(IsOneOf("pk", "reviews")).values_list("pk", "clip_id")
)


@Prepared
def _in_turn(order: str) -> QuerySet:
    free = access.free_for(PERSON, access.awake(_waiting(order), NOW))
    return free.values_list("pk", flat=True)


@Prepared
def _pending() -> QuerySet[Return]:
    return access.pending_returns(PERSON, NOW)


def unanswered() -> Q:
    """Of clips: those whose teacher has not answered yet."""
    return Q(pk__in=Review.objects.filter(state__in=Review.UNANSWERED).values("clip"))

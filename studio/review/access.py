"""Who may reach which review, comment and returned clip.

A pupil and a guardian reach only what was returned, and only its frozen snapshot.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from uuid import UUID

from django.db.models import (
    Aggregate,
    BigIntegerField,
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
    UUIDField,
)
from django.http import Http404
from django.utils import timezone

from studio.accounts import access as people
from studio.accounts import consent
from studio.accounts.access import get_or_404, or_404
from studio.accounts.models import Enrolment, Person, Studio
from studio.accounts.prepared import Given, IsOneOf, Prepared
from studio.clips import access as clips
from studio.clips.models import Clip, Listening, Stage
from studio.drills import access as drills
from studio.drills.access import scores_of
from studio.drills.models import Assignment

from .models import Comment, EnclosedFile, Enclosure, HandMark, Phrase, Return, Review

NOW = Given("now", DateTimeField())
LONG_AGO = datetime(1970, 1, 1, tzinfo=UTC)


def review_for(person: Person, clip_id: UUID) -> Review:
    """The review of a clip in a studio where ``person`` teaches, or 404."""
    return review_of(clips.taught_clip(person, clip_id))


def review_of(clip: Clip) -> Review:
    """The review of a clip that a teacher reached and may watch, or 404."""
    review = or_404(_review_of.first(clip=clip.pk))
    review.clip = clip
    return review


ORDERS = {
    "wait": (),
    "pupil": ("clip__enrolment__pupil__name", "clip__enrolment"),
    "drill": (F("answers__version__title").asc(nulls_last=True), "answers__version"),
    "length": (F("clip__duration_s").asc(nulls_last=True),),
    "found": (F("marks_found").desc(nulls_last=True),),
}


def waiting_for(person: Person, order: str = "wait") -> QuerySet[Review]:
    """Clips that are not returned yet in the studios of a teacher, longest wait first.

    ``order`` puts something before the wait (see ``ORDERS``). Those that no teacher may watch,
    because consent does not hold, are not among them; those that rest are.
    """
    return waiting_in(Q(clip__enrolment__in=people.places_to_hear(person)), order)


def waiting_in(places: Q | Expression, order: str = "wait") -> QuerySet[Review]:
    """The same for places that are found another way."""
    return (
        _reviews()
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


SAID_OF_A_STAGE = (
    *("clip", "kind", "state", "progress", "attempt", "failure_code", "failure_params"),
)
SAID_IN_A_ROW = (
    *("clip", "state", "marks_found", "double_stops_heard", "snoozed_until"),
    *("answers__version__title", "taken_by__name"),
    *(f"clip__{name}" for name in ("title", "note", "notes", "subject", "created_at")),
    *(f"clip__{name}" for name in ("intake", "duration_s", "has_video", "enrolment__studio")),
    "clip__enrolment__pupil__name",
)


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


def own_summaries(person: Person) -> QuerySet[Return]:
    """What a teacher returned with a summary, the newest first."""
    return (
        Return.objects.filter(
            returned_by=person,
            review__clip__enrolment__in=people.enrolments_taught_by(person),
            review__clip__erased_at=None,
        )
        .exclude(review__summary="")
        .order_by("-returned_at", "-pk")
    )


def own_recordings(person: Person) -> QuerySet[Enclosure]:
    """Replies that a teacher recorded, where she teaches, the newest first; each with ``sha256``.

    Not those with a clip that she may not watch any more.
    """
    original = EnclosedFile.objects.filter(
        enclosure=OuterRef("pk"), kind=EnclosedFile.Kind.ORIGINAL
    )
    clip = "comment__review__clip"
    return (
        Enclosure.objects.filter(
            consent.holds("recordings", f"{clip}__enrolment__pupil", f"{clip}__enrolment__studio"),
            kind__in=Enclosure.RECORDINGS,
            state=Enclosure.State.READY,
            comment__author=person,
            comment__review__clip__enrolment__in=people.enrolments_taught_by(person),
            comment__review__clip__erased_at=None,
        )
        .annotate(sha256=Subquery(original.values("sha256")[:1]))
        .exclude(sha256=None)
        .select_related(
            f"{clip}__enrolment__pupil", "comment__author", "comment__review__answers__version"
        )
        .defer(*scores_of("comment__review__answers__version"))
        .order_by("-created_at", "-pk")
    )


def own_recording(person: Person, review: Review, pk: UUID) -> Enclosure | None:
    """A reply that a teacher recorded in the studio of a review, or ``None``."""
    here = own_recordings(person).filter(
        comment__review__clip__enrolment__studio=review.clip.enrolment.studio_id
    )
    return here.filter(pk=pk).prefetch_related("files").first()


def comment_for(person: Person, clip_id: UUID, pk: int) -> Comment:
    """A comment of an unreturned review that ``person`` may change, or 404."""
    review = review_for(person, clip_id)
    if review.state == Review.State.RETURNED:
        raise Http404
    return get_or_404(review.comments.all(), pk)


def phrases_of(person: Person, studio: Studio) -> QuerySet[Phrase]:
    """A teacher's own phrases in a studio, in the order they are offered."""
    return Phrase.objects.filter(author=person, studio=studio)


def phrases_by(person: Person) -> QuerySet[Phrase]:
    """A teacher's own phrases wherever she teaches."""
    return Phrase.objects.filter(
        author=person, studio__in=people.studios_of(person, people.Role.TEACHER)
    )


def phrase_for(person: Person, pk: int) -> Phrase:
    """A phrase of one's own, in a studio where one still teaches, or 404."""
    return get_or_404(phrases_of(person, people.teaching_studio(person)), pk)


def enclosures_of(review: Review) -> QuerySet[Enclosure]:
    """What is enclosed with the comments of a review that was reached."""
    return Enclosure.objects.filter(comment__review=review).select_related(
        "comment__review__clip", "comment__author"
    )


def enclosure_for(person: Person, clip_id: UUID, pk: UUID) -> Enclosure:
    """What is enclosed with a comment, for a teacher of the studio, or 404.

    The pupil and the guardians reach it once the clip is returned and the return can be seen, and
    only while consent holds: it is the teacher's own voice and picture, not what they sent.
    """
    clip = clips.clip_for(person, clip_id)
    enclosures = Enclosure.objects.filter(comment__review__clip=clip).prefetch_related("files")
    enclosure = get_or_404(enclosures, pk)
    if people.teaches(person, clip.enrolment):
        return enclosure
    returned = return_for(person, clip_id)
    if str(pk) not in returned.enclosed_ids:
        raise Http404
    if not clip.consented:
        raise consent.ConsentMissing(consent.cannot_watch(clip.enrolment))
    return enclosure


def hand_mark_for(person: Person, clip_id: UUID, pk: int) -> HandMark:
    """A mark by hand of an unreturned review that ``person`` may change, or 404."""
    review = review_for(person, clip_id)
    if review.state == Review.State.RETURNED:
        raise Http404
    return get_or_404(review.hand_marks.select_related("review"), pk)


def return_for(person: Person, clip_id: UUID) -> Return:
    """What was returned of a clip that ``person`` may look at, or 404; at home once visible."""
    clip = clips.clip_for(person, clip_id)
    returns = Return.objects.filter(review__clip=clip).select_related("returned_by")
    if not people.teaches(person, clip.enrolment):
        returns = returns.visible()
    returned = returns.first()
    if returned is None:
        raise Http404
    return returned


def pending_returns(person: Person | Given, now: datetime | Given) -> QuerySet[Return]:
    """What can still be taken back in the studios of a teacher, the newest first."""
    return (
        Return.objects.filter(
            pk__in=Return.objects.pending(now).values("pk"),  # few: so they are looked for first
            review__clip__enrolment__in=people.enrolments_taught_by(person),
            review__clip__erased_at=None,
        )
        .select_related("review__clip__enrolment__pupil", "returned_by")
        .order_by("-returned_at", "-pk")
    )


def returns_of(
    enrolment: Enrolment | Given, now: datetime | Given | None = None
) -> QuerySet[Return]:
    """The returned clips of one place that can be seen at home (by ``now``), newest first."""
    return (
        Return.objects.visible(now)
        .filter(review__clip__enrolment=enrolment, review__clip__erased_at=None)
        .select_related("review__clip", "review__answers__version", "returned_by")
        .defer(*scores_of("review__answers__version"))
        .order_by("-returned_at")
    )


def with_sendings(
    assignments: QuerySet[Assignment], now: datetime | Given | None = None
) -> QuerySet[Assignment]:
    """Assignments with when a clip of each was last sent and last answered, as it is at home.

    ``sent_at`` and ``answered_at``, None where that never was.
    """
    sent = Clip.objects.filter(
        review__answers=OuterRef("pk"), intake=Clip.Intake.RECEIVED, erased_at=None
    )
    answered = Return.objects.visible(now).filter(
        review__answers=OuterRef("pk"), review__clip__erased_at=None
    )
    return assignments.annotate(
        sent_at=Subquery(sent.order_by("-created_at").values("created_at")[:1]),
        answered_at=Subquery(answered.order_by("-returned_at").values("returned_at")[:1]),
    )


def returned_answer(assignment: Assignment) -> Return | None:
    """The newest return of a clip that answers an assignment, as it is seen at home."""
    return (
        Return.objects.visible()
        .filter(review__answers=assignment, review__clip__erased_at=None)
        .select_related("review__clip", "returned_by")
        .order_by("-returned_at", "-pk")
        .first()
    )


def heard_answer(assignment: Assignment) -> Review | None:
    """The review of the newest clip that answers an assignment and that a teacher may watch."""
    return (
        _reviews()
        .filter(
            consent.holds("recordings", "clip__enrolment__pupil", "clip__enrolment__studio"),
            answers=assignment,
            clip__erased_at=None,
            clip__listenings__isnull=False,
        )
        .order_by("-clip__created_at", "-pk")
        .first()
    )


def earlier_heard(person: Person, clip: Clip) -> QuerySet[Review]:
    """Earlier clips of a clip's pupil in the same studio with double stops heard, newest first."""
    return _earlier(person, *_place_and_time(clip)).filter(double_stops_heard__gt=0)


def earlier_playable(person: Person, clip: Clip) -> QuerySet[Review]:
    """Earlier clips of a clip's pupil in the same studio that can be played, newest first."""
    return _playable(_earlier(person, *_place_and_time(clip)), clip.has_video)


def has_earlier_heard(person: Person, clip: Clip) -> bool:
    """Whether :func:`earlier_heard` has any."""
    pupil, studio, before = _place_and_time(clip)
    return bool(_any_heard(person=person.pk, pupil=pupil, studio=studio, before=before))


def has_earlier_playable(person: Person, clip: Clip) -> bool:
    """Whether :func:`earlier_playable` has any."""
    pupil, studio, before = _place_and_time(clip)
    asked = {"person": person.pk, "pupil": pupil, "studio": studio, "before": before}
    return bool(_any_playable(clip.has_video, **asked))


def _place_and_time(clip: Clip) -> tuple[int, int, datetime]:
    return clip.enrolment.pupil_id, clip.enrolment.studio_id, clip.created_at


def _playable(reviews: QuerySet[Review], has_video: bool) -> QuerySet[Review]:
    done = {"kind": Stage.Kind.PLAYBACK, "state": Stage.State.PLAYABLE}
    made = Exists(Stage.objects.filter(clip=OuterRef("clip"), **done))
    return reviews.filter(made, clip__has_video=has_video)


def _earlier(
    person: Person | Given, pupil: int | Given, studio: int | Given, before: datetime | Given
) -> QuerySet[Review]:
    return (
        _reviews()
        .filter(
            consent.holds("recordings", "clip__enrolment__pupil", "clip__enrolment__studio"),
            clip__enrolment__in=people.enrolments_taught_by(person),
            clip__enrolment__pupil=pupil,
            clip__enrolment__studio=studio,
            clip__intake="received",
            clip__erased_at=None,
            clip__created_at__lt=before,
        )
        .order_by("-clip__created_at", "-pk")
    )


def _earlier_given() -> QuerySet[Review]:
    pupil, studio = Given("pupil", BigIntegerField()), Given("studio", BigIntegerField())
    return _earlier(people.PERSON, pupil, studio, Given("before", DateTimeField()))


_any_heard = Prepared(
    lambda: _earlier_given().filter(double_stops_heard__gt=0).values_list("pk")[:1]
)
_any_playable = Prepared(
    lambda has_video: _playable(_earlier_given(), has_video).values_list("pk")[:1]
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


_review_of = Prepared(
    lambda: Review.objects.filter(clip=Given("clip", UUIDField())).select_related(
        "answers__version", "taken_by"
    )
)


def _reviews() -> QuerySet[Review]:
    return Review.objects.select_related(
        "clip__enrolment__pupil", "clip__enrolment__studio", "answers__version", "taken_by"
    ).prefetch_related("clip__stages", "clip__renditions")

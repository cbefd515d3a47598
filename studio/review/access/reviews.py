"""A teacher's reviews: one by one, with what was said in them, and earlier ones of a pupil."""

from datetime import datetime
from uuid import UUID

from django.db.models import (
    BigIntegerField,
    DateTimeField,
    Exists,
    OuterRef,
    QuerySet,
    Subquery,
    UUIDField,
)
from django.http import Http404

from studio.accounts import access as people
from studio.accounts import consent
from studio.accounts.access import get_or_404, or_404
from studio.accounts.models import Person, Studio
from studio.accounts.prepared import Given, Prepared
from studio.clips import access as clips
from studio.clips.models import Clip, Stage
from studio.drills.access import scores_of
from studio.drills.models import Assignment
from studio.review.models import (
    Comment,
    EnclosedFile,
    Enclosure,
    HandMark,
    Phrase,
    Return,
    Review,
    SummaryTemplate,
)


def review_for(person: Person, clip_id: UUID) -> Review:
    """The review of a clip in a studio where ``person`` teaches, or 404."""
    return review_of(clips.taught_clip(person, clip_id))


def review_of(clip: Clip) -> Review:
    """The review of a clip that a teacher reached and may watch, or 404."""
    review = or_404(_review_of.first(clip=clip.pk))
    review.clip = clip
    return review


_review_of = Prepared(
    lambda: Review.objects.filter(clip=Given("clip", UUIDField())).select_related(
        "answers__version", "taken_by"
    )
)


def reviews_with_clips() -> QuerySet[Review]:
    """Reviews with what a page of one shows of its clip."""
    return Review.objects.select_related(
        "clip__enrolment__pupil", "clip__enrolment__studio", "answers__version", "taken_by"
    ).prefetch_related("clip__stages", "clip__renditions")


def comment_for(person: Person, clip_id: UUID, pk: int) -> Comment:
    """A comment of an unreturned review that ``person`` may change, or 404."""
    review = review_for(person, clip_id)
    if review.state == Review.State.RETURNED:
        raise Http404
    return get_or_404(review.comments.all(), pk)


def hand_mark_for(person: Person, clip_id: UUID, pk: int) -> HandMark:
    """A mark by hand of an unreturned review that ``person`` may change, or 404."""
    review = review_for(person, clip_id)
    if review.state == Review.State.RETURNED:
        raise Http404
    return get_or_404(review.hand_marks.select_related("review"), pk)


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


def phrases_of(person: Person, studio: Studio) -> QuerySet[Phrase]:
    """A teacher's own phrases in a studio, in the order they are offered."""
    return Phrase.objects.filter(author=person, studio=studio)


def phrases_by(person: Person) -> QuerySet[Phrase]:
    """A teacher's own phrases wherever she teaches."""
    return Phrase.objects.filter(
        author=person, studio__in=people.studios_of(person, people.Role.TEACHER)
    )


def summary_templates_of(person: Person, studio: Studio) -> QuerySet[SummaryTemplate]:
    """A teacher's own templates of summaries in a studio, in the order they were made."""
    return SummaryTemplate.objects.filter(author=person, studio=studio)


def summary_template_for(person: Person, pk: int) -> SummaryTemplate:
    """A template of one's own, in a studio where one still teaches, or 404."""
    return get_or_404(summary_templates_of(person, people.teaching_studio(person)), pk)


def phrase_for(person: Person, pk: int) -> Phrase:
    """A phrase of one's own, in a studio where one still teaches, or 404."""
    return get_or_404(phrases_of(person, people.teaching_studio(person)), pk)


def enclosures_of(review: Review) -> QuerySet[Enclosure]:
    """What is enclosed with the comments of a review that was reached."""
    return Enclosure.objects.filter(comment__review=review).select_related(
        "comment__review__clip", "comment__author"
    )


def heard_answer(assignment: Assignment) -> Review | None:
    """The review of the newest clip that answers an assignment and that a teacher may watch."""
    return (
        reviews_with_clips()
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
        reviews_with_clips()
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

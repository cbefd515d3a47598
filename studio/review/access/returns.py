"""What was returned: to the pupil and the guardians once it is visible, to the teacher before.

A pupil and a guardian reach only the frozen snapshot.
"""

from datetime import datetime
from uuid import UUID

from django.db.models import (
    BigIntegerField,
    DateTimeField,
    OuterRef,
    QuerySet,
    Subquery,
    UUIDField,
)
from django.http import Http404
from django.utils import timezone

from studio.accounts import access as people
from studio.accounts import consent
from studio.accounts.access import PLACE, get_or_404, or_404
from studio.accounts.models import Enrolment, Person
from studio.accounts.prepared import Given, Prepared
from studio.clips import access as clips
from studio.clips.models import Clip
from studio.drills.access import scores_of
from studio.drills.models import Assignment
from studio.review.access.waiting import NOW
from studio.review.models import Enclosure, Return, Review

CLIP = Given("clip", UUIDField())


def return_for(person: Person, clip_id: UUID) -> Return:
    """What was returned of a clip that ``person`` may look at, or 404; at home once visible."""
    clip = clips.clip_for(person, clip_id)
    return return_of(clip, at_home=not people.teaches(person, clip.enrolment))


def return_of(clip: Clip, *, at_home: bool) -> Return:
    """What was returned of a clip that was reached already, or 404; at home once visible."""
    return or_404(_of_clip.first(at_home, clip=clip.pk, now=timezone.now()))


@Prepared
def _of_clip(at_home: bool) -> QuerySet[Return]:
    of_clip = Return.objects.filter(review__clip=CLIP)
    returns = of_clip.select_related("returned_by", "review__clip", "review__answers__version")
    returns = returns.defer(*scores_of("review__answers__version"))
    return (returns.visible(NOW) if at_home else returns).order_by("pk")[:1]


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


def earlier_returned(review: Review, most: int) -> list[Return]:
    """The latest earlier clips of the same drill and place that were returned, newest first.

    As they are seen at home, with their recordings, for listening; none where the clip answers no
    drill.
    """
    if review.answers is None:
        return []
    return _earlier(
        most,
        now=timezone.now(),
        place=review.clip.enrolment_id,
        sent_at=review.clip.created_at,
        drill=review.answers.version.drill_id,
    )


@Prepared
def _earlier(most: int) -> QuerySet[Return]:
    found = (
        Return.objects.visible(NOW)
        .filter(
            review__clip__enrolment=PLACE,
            review__clip__created_at__lt=Given("sent_at", DateTimeField()),
            review__clip__erased_at=None,
            review__clip__recording_gone_at=None,
            review__answers__version__drill=Given("drill", BigIntegerField()),
        )
        .select_related("review__clip", "review__answers")
        .prefetch_related("review__clip__stages", "review__clip__renditions")
        .order_by("-review__clip__created_at", "-pk")
    )
    return found[:most]


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

"""Who may reach which clip. Every view gets its clips here.

What a person has no relation to is 404. A teacher of the clip's own studio may know that it is
there; without consent it is refused with a sentence (``ConsentMissing``, 403). Both are asked anew
at every request, so also at every Range of a recording that plays.
"""

from uuid import UUID

from django.db.models import QuerySet, UUIDField
from django.http import Http404

from studio.accounts import access as people
from studio.accounts import consent
from studio.accounts.access import PERSON, or_404
from studio.accounts.models import Enrolment, Person
from studio.accounts.prepared import Given, Prepared

from .models import Clip


def clips_of(enrolment: Enrolment | Given) -> QuerySet[Clip]:
    """All clips of one place that are not erased, newest first, for lists: with their stages."""
    clips = _clips().filter(enrolment=enrolment).select_related(None).select_related("enrolment")
    return clips.prefetch_related(None).prefetch_related("stages").defer("info")


def clip_for(person: Person, pk: UUID) -> Clip:
    """A clip that ``person`` may look at as teacher, pupil or guardian, or 404.

    Raises
    ------
    ConsentMissing
        For a teacher, while consent does not hold. The pupil and the guardians still see it.
    """
    clip = or_404(_seen_clip.first(person=person.pk, clip=pk))
    if not clip.consented and not people.is_home(person, clip.enrolment):
        raise consent.ConsentMissing(consent.cannot_watch(clip.enrolment))
    return clip


def taught_clip(person: Person, pk: UUID) -> Clip:
    """A received clip of a studio where ``person`` teaches, or 404.

    Raises
    ------
    ConsentMissing
        While consent does not hold.
    """
    return for_teachers(or_404(_taught_clip.first(person=person.pk, clip=pk)))


def for_teachers(clip: Clip) -> Clip:
    """A clip that was reached by one who teaches in its studio, if it may be watched there.

    Raises as :func:`taught_clip`.
    """
    if clip.intake != Clip.Intake.RECEIVED:
        raise Http404
    if not clip.consented:
        raise consent.ConsentMissing(consent.cannot_watch(clip.enrolment))
    return clip


def home_clip(person: Person, pk: UUID) -> Clip:
    """A pupil's own clip, or one of a guardian's child, or 404."""
    clip = clip_for(person, pk)
    people.home_enrolment(person, clip.enrolment_id)
    return clip


def own_refused_clip(person: Person, pk: UUID) -> Clip:
    """A clip that could not be used, of the pupil's own or sent by this guardian; or 404."""
    clip = home_clip(person, pk)
    own = person.pk in (clip.enrolment.pupil_id, clip.uploaded_by_id)
    if not own or clip.intake != Clip.Intake.REFUSED:
        raise Http404
    return clip


def _clips() -> QuerySet[Clip]:
    return (
        Clip.objects.filter(erased_at__isnull=True)
        .annotate(
            consented=consent.holds(
                consent.Purpose.RECORDINGS, "enrolment__pupil", "enrolment__studio"
            )
        )
        .select_related("enrolment__pupil", "enrolment__studio", "enrolment__teacher", "original")
        .prefetch_related("stages", "renditions")
    )


_CLIP = Given("clip", UUIDField())
_seen_clip = Prepared(
    lambda: _clips().filter(enrolment__in=people.enrolments_seen_by(PERSON), pk=_CLIP)
)
_taught_clip = Prepared(
    lambda: _clips().filter(enrolment__in=people.enrolments_taught_by(PERSON), pk=_CLIP)
)

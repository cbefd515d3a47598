"""Who may reach which clip. Every view gets its clips here."""

from uuid import UUID

from django.db.models import QuerySet

from studio.accounts import access as people
from studio.accounts.access import get_or_404
from studio.accounts.models import Enrolment, Person

from .models import Clip


def clips_of(enrolment: Enrolment) -> QuerySet[Clip]:
    """All clips of one place that are not erased, newest first."""
    return _clips().filter(enrolment=enrolment)


def clip_for(person: Person, pk: UUID) -> Clip:
    """A clip that ``person`` may look at as teacher, pupil or guardian, or 404."""
    return get_or_404(_clips().filter(enrolment__in=people.enrolments_seen_by(person)), pk)


def taught_clip(person: Person, pk: UUID) -> Clip:
    """A received clip of a studio where ``person`` teaches, or 404."""
    return get_or_404(
        _clips().filter(
            enrolment__in=people.enrolments_taught_by(person), intake=Clip.Intake.RECEIVED
        ),
        pk,
    )


def home_clip(person: Person, pk: UUID) -> Clip:
    """A pupil's own clip, or one of a guardian's child, or 404."""
    clip = clip_for(person, pk)
    people.home_enrolment(person, clip.enrolment_id)
    return clip


def _clips() -> QuerySet[Clip]:
    return (
        Clip.objects.filter(erased_at__isnull=True)
        .select_related("enrolment__pupil", "enrolment__studio", "enrolment__teacher", "original")
        .prefetch_related("stages", "renditions")
    )

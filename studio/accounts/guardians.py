"""Who answers for a pupil: per studio, dated, and known there as a guardian.

Two things are told apart. Every guardian *sees* what the child sees. Only some *decide* about
consent and accept a place for the child: nobody who teaches in the studio does, or a teacher
could agree for her own pupil by inviting herself. A teacher whose own child is her pupil is met
with in life; another guardian decides then, or whoever runs the studio's machine, who knows the
people, confirms the link (``python -m studio confirm_guardian``).
"""

from django.db.models import Exists, OuterRef, Q, QuerySet

from .models import Enrolment, GuardianLink, Membership, Person, current

Role = Membership.Role


def seeing() -> QuerySet[GuardianLink]:
    """The links that hold today: the guardian has an account that works, and is known there."""
    return GuardianLink.objects.filter(
        current(), Exists(_member(Role.GUARDIAN)), guardian__is_active=True
    )


def deciding() -> QuerySet[GuardianLink]:
    """Those of them whose guardian decides about consent."""
    return seeing().filter(Q(confirmed_at__isnull=False) | ~Exists(_member(Role.TEACHER)))


def of(enrolment: Enrolment) -> list[Person]:
    """Who sees what the pupil sees in this studio, by name."""
    return _people(seeing().filter(pupil=enrolment.pupil_id, studio=enrolment.studio_id))


def deciders(enrolment: Enrolment) -> list[Person]:
    """Who decides for the pupil in this studio, by name."""
    return _people(deciding().filter(pupil=enrolment.pupil_id, studio=enrolment.studio_id))


def answering_for(pupil: Person) -> list[Person]:
    """Who decides for the pupil in any studio: they alone let a child into one more."""
    return _people(deciding().filter(pupil=pupil))


def are_linked_to(pupil: Person) -> bool:
    """Whether anybody answers for the pupil today, wherever."""
    return GuardianLink.objects.filter(current(), pupil=pupil).exists()


def _member(role: str) -> QuerySet[Membership]:
    """The guardian of a link in ``role`` at the studio of the link."""
    return Membership.objects.filter(
        current(), role=role, studio=OuterRef("studio"), person=OuterRef("guardian")
    )


def _people(links: QuerySet[GuardianLink]) -> list[Person]:
    return list(Person.objects.filter(pk__in=links.values("guardian")).order_by("name", "pk"))

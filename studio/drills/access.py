"""Who may reach which drill and assignment."""

from django.db.models import QuerySet

from studio.accounts import access as people
from studio.accounts.access import Role, get_or_404, studios_of
from studio.accounts.models import Enrolment, Person

from .models import Assignment, Drill


def shelf_of(person: Person) -> QuerySet[Drill]:
    """The drills of the studios where ``person`` teaches, newest first."""
    return (
        Drill.objects.filter(studio__in=studios_of(person, Role.TEACHER), archived_at=None)
        .prefetch_related("versions")
        .order_by("-created_at", "-pk")
    )


def drill_for(person: Person, pk: int) -> Drill:
    """A drill on the teacher's shelf, or 404."""
    return get_or_404(shelf_of(person), pk)


def queue_of(enrolment: Enrolment) -> QuerySet[Assignment]:
    """What the pupil is to practise, in order: published and not yet done."""
    return _assignments().filter(enrolment=enrolment, published_at__isnull=False, done_at=None)


def set_for(enrolment: Enrolment) -> QuerySet[Assignment]:
    """What is set and not done, for the teacher: also what waits for a clip's return."""
    return _assignments().filter(enrolment=enrolment, done_at=None)


def done_by(enrolment: Enrolment) -> QuerySet[Assignment]:
    return (
        _assignments()
        .filter(enrolment=enrolment, published_at__isnull=False, done_at__isnull=False)
        .order_by("-done_at")
    )


def home_assignment(person: Person, pk: int) -> Assignment:
    """A published assignment of the pupil's own, or of a guardian's child, or 404."""
    assignment = get_or_404(_assignments().filter(published_at__isnull=False), pk)
    people.home_enrolment(person, assignment.enrolment_id)
    return assignment


def taught_assignment(person: Person, pk: int) -> Assignment:
    """Any assignment in a studio where ``person`` teaches, or 404."""
    return get_or_404(_assignments().filter(enrolment__in=people.enrolments_taught_by(person)), pk)


def _assignments() -> QuerySet[Assignment]:
    return Assignment.objects.select_related(
        "version", "enrolment__pupil", "enrolment__studio", "set_by"
    )

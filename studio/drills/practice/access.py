"""Whose entries are whose to read and to change."""

from datetime import date

from django.db.models import QuerySet

from studio.accounts import access as people
from studio.accounts import consent
from studio.accounts.access import get_or_404
from studio.accounts.models import Enrolment, Person
from studio.drills.access import scores_of

from .models import PracticeEntry


def entries_of(place: Enrolment, since: date, until: date) -> QuerySet[PracticeEntry]:
    """The entries of a place from one day to another, both included, the newest first.

    Each comes with its drill (``assignment.version``, without the score) and who made it. It asks
    nothing of who reads: see :func:`shown_to`.
    """
    return (
        PracticeEntry.objects.filter(enrolment=place, day__gte=since, day__lte=until)
        .select_related("assignment__version", "made_by")
        .defer(*scores_of("assignment__version"))
    )


def shown_to(person: Person, place: Enrolment) -> bool:
    """Whether a person who may look at a place reads its entries: the family always, the studio's
    teachers while consent holds."""
    return people.is_home(person, place) or consent.is_given(place)


def own_entry(person: Person, pk: int) -> PracticeEntry:
    """An entry that ``person`` made, of lessons that go on, or 404."""
    entry = get_or_404(
        PracticeEntry.objects.filter(made_by=person).select_related(
            "enrolment__pupil", "enrolment__studio", "enrolment__teacher", "assignment__version"
        ),
        pk,
    )
    people.home_enrolment(person, entry.enrolment_id)
    return entry

"""Whose entries are whose to read and to change."""

from datetime import date

from django.db.models import QuerySet
from django.http import Http404

from studio.accounts import access as people
from studio.accounts import consent
from studio.accounts.access import get_or_404
from studio.accounts.models import Enrolment, Person
from studio.accounts.prepared import Given
from studio.drills.access import scores_of

from .models import PracticeEntry


def entries_of(
    place: Enrolment | Given, since: date | Given, until: date | Given
) -> QuerySet[PracticeEntry]:
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


def may_note(person: Person, place: Enrolment) -> bool:
    """Whether a person notes practice there: the pupil, or a guardian for one who is not grown up,
    while the lessons go on."""
    if not (people.is_current(place) and people.is_home(person, place)):
        return False
    return place.pupil_id == person.pk or people.may_send_for(place)


def noting_place(person: Person, pk: int) -> Enrolment:
    """A place at which ``person`` notes practice, or 404."""
    place = people.home_enrolment(person, pk)
    if not may_note(person, place):
        raise Http404
    return place


def own_entry(person: Person, pk: int) -> PracticeEntry:
    """An entry that ``person`` made, of lessons that go on, or 404."""
    entry = get_or_404(
        PracticeEntry.objects.filter(made_by=person).select_related(
            "enrolment__pupil", "enrolment__studio", "enrolment__teacher", "assignment__version"
        ),
        pk,
    )
    noting_place(person, entry.enrolment_id)
    return entry

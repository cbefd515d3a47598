"""What pages show of a place's practice: the weeks in a picture, and the entries themselves."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.core.paginator import Page, Paginator
from django.db.models import DateField, QuerySet
from django.utils import timezone

from studio.accounts import consent
from studio.accounts.access import PLACE
from studio.accounts.models import Enrolment, Person
from studio.accounts.prepared import Given, Prepared
from studio.drills.models import Assignment

from . import access, cautions, for_children, services, weeks, wording
from .forms import PracticeForm
from .models import PracticeEntry
from .weeks import Picture, Portion

ENTRIES_A_PAGE = 15
ENTRIES_IN_SHORT = 6  # on a page that is about more than practice
ENTRIES_OF_A_DRILL = 10


@dataclass(frozen=True, slots=True)
class Term:
    """The weeks up to one day: their picture, and what it says."""

    picture: Picture
    says: str


def term_of(place: Enrolment, until: date | None = None) -> Term:
    """The weeks up to ``until``, else up to today."""
    today = timezone.localdate()
    last = min(until or today, today)
    first = weeks.first_day(last)
    found = _portions(
        place=place.pk, since=first, until=date.max if last == today else weeks.last_day(last)
    )
    if last == today and found:
        last = max(today, found[-1][0])  # where the pupil is it may be tomorrow, and next week
    picture = weeks.picture((Portion(day, minutes) for day, minutes in found), last)
    return Term(picture, wording.usual(picture))


def other_weeks(place: Enrolment, term: Term) -> tuple[date | None, date | None]:
    """The day by which the weeks before a term are found, where there are any; and after it."""
    today, last = timezone.localdate(), term.picture.last
    earlier = _newest_before.first(place=place.pk, until=term.picture.first)
    later = min(last + timedelta(weeks=weeks.WEEKS), today) if last < today else None
    return earlier, later


def in_short(place: Enrolment) -> list[PracticeEntry]:
    """The newest entries, for the teacher's page of a pupil."""
    return _entries(ENTRIES_IN_SHORT, place=place.pk, since=date.min, until=date.max)


def of_drill(assignment: Assignment) -> list[PracticeEntry]:
    """The newest entries that name a drill, for its page."""
    found = PracticeEntry.objects.filter(assignment=assignment).select_related("made_by")
    return list(found[:ENTRIES_OF_A_DRILL])


def entries_page(
    place: Enrolment, term: Term, drill: Assignment | None, number: str | None
) -> Page:
    """The entries of a picture's weeks, perhaps of one drill, page by page."""
    found = access.entries_of(place, term.picture.first, term.picture.last)
    if drill is not None:
        found = found.filter(assignment=drill)
    return Paginator(found, ENTRIES_A_PAGE).get_page(number)


def noting(
    person: Person, place: Enrolment, simple: bool, form: PracticeForm | None = None, drill=None
) -> dict:
    """What a page with the form needs; nothing where practice cannot be noted now."""
    if not (place.consented and access.may_note(person, place)):
        return {}
    area = "pupil" if place.pupil_id == person.pk else "guardian"
    lengths = cautions.lengths_of(consent.is_grown_up(place.pupil))
    today = services.today_of(person)
    return {
        "form": form or PracticeForm(place, today=today, simple=simple, drill=drill),
        "place": place,
        "person": person,
        "today": today,
        "lengths": lengths,
        "rest_min": cautions.REST_MIN,
        "rest_now": wording.rest_now(lengths, simple),
        "how_lengths": "" if simple else wording.how_lengths(lengths),
        "who_reads": wording.who_reads(area, place, simple),
        "cautions": [
            (reason.value, wording.caution([reason], area, place, simple))
            for reason in cautions.Reason
        ],
        "is_simple": simple,
        "words": for_children,
        "drill": drill,
    }


_SINCE, _UNTIL = Given("since", DateField()), Given("until", DateField())


@Prepared
def _portions() -> QuerySet:
    return access.entries_of(PLACE, _SINCE, _UNTIL).order_by("day").values_list("day", "minutes")


@Prepared
def _newest_before() -> QuerySet:
    before = PracticeEntry.objects.filter(enrolment=PLACE, day__lt=_UNTIL)
    return before.order_by("-day").values_list("day", flat=True)[:1]


@Prepared
def _entries(most: int) -> QuerySet[PracticeEntry]:
    return access.entries_of(PLACE, _SINCE, _UNTIL)[:most]

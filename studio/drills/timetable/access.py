"""Who may reach which planned lesson: the studio's teachers all, pupil and guardians their own.

When the lessons of a place end, what was planned from that day on is there no more, for anybody.
"""

from datetime import date, timedelta

from django.db.models import DateField, F, Q, QuerySet
from django.utils import timezone

from studio.accounts import access as people
from studio.accounts.access import PERSON, PLACE, get_or_404
from studio.accounts.models import Enrolment, Person, current
from studio.accounts.prepared import Given, Prepared

from .models import PlannedLesson

AT_HOME = 4  # lessons that a home page shows
ONE_DAY = timedelta(days=1)
FROM, UNTIL = Given("since", DateField()), Given("until", DateField())


def _held() -> QuerySet[PlannedLesson]:
    """Lessons of places that go on when they are to be held."""
    goes_on = Q(enrolment__ended_on=None) | Q(day__lt=F("enrolment__ended_on"))
    return PlannedLesson.objects.filter(goes_on)


def taught_between(person: Person, first: date, last: date) -> list[PlannedLesson]:
    """All lessons of the studios where ``person`` teaches, by the days of their own zones."""
    return _taught_between(person=person.pk, since=first, until=last)


@Prepared
def _taught_between() -> QuerySet[PlannedLesson]:
    places = people.enrolments_taught_by(PERSON).values("pk")
    found = _held().filter(enrolment__in=places, day__gte=FROM, day__lte=UNTIL)
    return found.select_related("enrolment__pupil", "enrolment__teacher")


def taught_lesson(person: Person, pk: int) -> PlannedLesson:
    """A lesson of a place in a studio where ``person`` teaches, or 404."""
    places = people.enrolments_taught_by(person).values("pk")
    found = _held().filter(enrolment__in=places)
    return get_or_404(found.select_related("enrolment__pupil", "enrolment__studio"), pk)


def following(lesson: PlannedLesson) -> list[PlannedLesson]:
    """The lesson and those after it in its series, in their order."""
    if lesson.series is None:
        return [lesson]
    after = _held().filter(series=lesson.series, enrolment=lesson.enrolment_id)
    return list(after.filter(number__gte=lesson.number).order_by("number", "pk"))


def coming_at_home(enrolment: Enrolment) -> list[PlannedLesson]:
    """The next lessons, cancelled ones too, for the pupil's and the guardians' page."""
    now = timezone.now()
    near = _coming(place=enrolment.pk, since=now.date() - ONE_DAY)
    return [lesson for lesson in near if lesson.ends_at > now][:AT_HOME]


# Days are of each lesson's own zone, so the lessons of yesterday are asked for too.
_coming = Prepared(
    lambda: _held().filter(enrolment=PLACE, day__gte=FROM).order_by("day", "at")[: AT_HOME + 6]
)


def in_calendar_of(person: Person, first: date, last: date) -> QuerySet[PlannedLesson]:
    """What a person's calendar shows: her own lessons, her children's and her pupils'."""
    own = people.enrolments_of(person).values("pk")
    children = people.enrolments_guarded_by(person).values("pk")
    pupils = people.enrolments_taught_by(person).filter(teacher=person).values("pk")
    hers = Q(enrolment__in=own) | Q(enrolment__in=children) | Q(enrolment__in=pupils)
    found = _held().filter(hers, current("enrolment__"), day__gte=first, day__lte=last)
    return found.select_related("enrolment__pupil").order_by("day", "at", "pk")


def places_to_plan(person: Person) -> QuerySet[Enrolment]:
    """For whom a teacher plans lessons: the pupils of her studios, by name."""
    return people.enrolments_taught_by(person).order_by("pupil__name", "pk")

"""One week of lessons as a page shows it: seven days, Monday first, each in the order of its hours.

Moments are said by the clock of the reader's own zone; a lesson that is meant by another clock says
that too.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Person
from studio.accounts.notifications import schedule

from ..lessons.models import LessonNote
from . import access
from .clock import WEEK
from .models import PlannedLesson
from .overlaps import overlaps_among

ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Shown:
    """A lesson in the reader's week. ``note`` is its note's number, where one is written."""

    lesson: PlannedLesson
    begins: datetime
    ends: datetime
    is_over: bool
    note: int | None = None
    beside: tuple[str, ...] = ()

    @property
    def day(self) -> str:
        """``Tuesday 1 December``, by the reader's clock and not the studio's."""
        return figures.weekday_date(self.begins)

    @property
    def hours(self) -> str:
        """``16:00–16:45``"""
        return f"{figures.time_of_day(self.begins)}–{figures.time_of_day(self.ends)}"

    @property
    def other_clock(self) -> str:
        """What the clock shows there, where it is not the reader's hour."""
        return said_by_its_own_clock(self.lesson, self.begins)


@dataclass(slots=True)
class Day:
    on: date
    is_today: bool
    lessons: list[Shown] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Week:
    """Seven days of all lessons that a teacher's studios have."""

    monday: date
    days: tuple[Day, ...]

    @property
    def before(self) -> date:
        return self.monday - WEEK

    @property
    def after(self) -> date:
        return self.monday + WEEK

    @property
    def sunday(self) -> date:
        return self.monday + WEEK - ONE_DAY

    @property
    def count(self) -> int:
        return sum(not one.lesson.is_cancelled for day in self.days for one in day.lessons)


def zone_of(person: Person) -> ZoneInfo:
    """The zone by whose clock a person reads times."""
    return schedule.zone_of(schedule.times_of(person))


def week_of(person: Person, monday: date, zone: ZoneInfo, now: datetime) -> Week:
    """The week from ``monday`` on by the clock of ``zone``; a few queries, however full it is."""
    days = tuple(
        Day(on, on == now.astimezone(zone).date())
        for on in (monday + number * ONE_DAY for number in range(7))
    )
    # The days of rows are of their own zones, which may be a day before or after.
    found = access.taught_between(person, monday - ONE_DAY, monday + WEEK)
    beside, notes = overlaps_among(found), _notes(found)
    for lesson in sorted(found, key=lambda one: (one.begins_at, one.pk)):
        begins = lesson.begins_at.astimezone(zone)
        number = (begins.date() - monday).days
        if 0 <= number < 7:
            others = tuple(str(one.enrolment.pupil) for one in beside.get(lesson.pk, ()))
            shown = Shown(
                lesson,
                begins,
                lesson.ends_at.astimezone(zone),
                is_over=lesson.begins_at <= now,
                note=notes.get((lesson.enrolment_id, lesson.day)),
                beside=others,
            )
            days[number].lessons.append(shown)
    return Week(monday, days)


def shown_at_home(lessons: Iterable[PlannedLesson], person: Person, now: datetime) -> list[Shown]:
    """Lessons by the reader's own clock."""
    lessons = list(lessons)
    if not lessons:
        return []
    zone = zone_of(person)
    return [
        Shown(one, one.begins_at.astimezone(zone), one.ends_at.astimezone(zone), one.ends_at <= now)
        for one in lessons
    ]


def said_by_its_own_clock(lesson: PlannedLesson, begins: datetime) -> str:
    """``16:00 in Europe/Berlin``; empty where the reader's clock shows the same day and time."""
    if (begins.date(), begins.time()) == (lesson.day, lesson.at.replace(microsecond=0)):
        return ""
    return _("%(time)s in %(zone)s") % {
        "time": figures.time_of_day(lesson.at),
        "zone": lesson.zone.replace("_", " "),
    }


def when_in_words(lesson: PlannedLesson, zone: ZoneInfo) -> str:
    """``Tuesday 8 December, 16:00``, by the reader's clock."""
    return figures.weekday_time(lesson.begins_at.astimezone(zone))


def _notes(lessons: Iterable[PlannedLesson]) -> dict[tuple[int, date], int]:
    """The newest note of each place and day among those of the lessons."""
    wanted = {(one.enrolment_id, one.day) for one in lessons}
    if not wanted:
        return {}
    places, days = {place for place, _day in wanted}, {day for _place, day in wanted}
    notes = LessonNote.objects.filter(enrolment__in=places, held_on__range=(min(days), max(days)))
    return {(place, day): pk for place, day, pk in _rows(notes) if (place, day) in wanted}


def _rows(notes):
    return notes.order_by("pk").values_list("enrolment", "held_on", "pk")

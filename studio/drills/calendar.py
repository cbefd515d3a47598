"""A calendar of lessons and of the days by which drills are to be ready (iCalendar, RFC 5545).

A planned lesson is a VEVENT of its own with the moment in UTC, also where it repeats every week:
each has a state of its own and was reckoned by its zone's rules already, so there is no RRULE with
exceptions for a program to read in its own way, and no VTIMEZONE that could be old. A cancelled one
stays, as STATUS:CANCELLED.

Every other date is an all-day VEVENT, which takes no time away (TRANSP:TRANSPARENT). A day by which
to be ready is by its nature a VTODO, but calendars that subscribe to an address mostly leave those
out (common practice, no source). A day has no clock, so there is no time zone to get wrong: the
plan of keys has days alone, and a drill is ready by the end of one. Where a lesson is planned, that
day of the plan of keys is not said besides.

Shown are titles of drills and first names, and only of lessons that go on; of drills and keys also
only while consent to recordings holds. Where a lesson is held is left out: it may be a link that
opens a room. What is ticked off is there no more.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from django.db.models import QuerySet
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _
from icalendar import Calendar, Event, Timezone

from studio.accounts.models import Enrolment, Person

from . import access
from .models import Assignment, Rotation
from .rotation.plan import NoFreeDay, Rhythm
from .timetable import access as timetable
from .timetable.models import PlannedLesson

BEHIND, AHEAD = timedelta(days=30), timedelta(days=182)
ASKED_ANEW = timedelta(hours=6)
ONE_DAY = timedelta(days=1)
END = b"END:VCALENDAR"
IN_UTC = "%Y%m%dT%H%M%SZ"  # RFC 5545, 3.3.5
PRODUCT = "-//Studio//Lessons and drills//EN"


@dataclass(frozen=True, slots=True)
class Day:
    """One date of the calendar.

    ``uid`` stays while it is the same thing, whatever its day; ``revision`` grows with a change.
    """

    uid: str
    on: date
    summary: str
    changed_at: datetime
    revision: int = 0


@dataclass(frozen=True, slots=True)
class Hour(Day):
    """A planned lesson: it takes its time away."""

    lesson: PlannedLesson | None = None

    @property
    def span(self) -> tuple[datetime, datetime]:
        """When it begins and ends, in UTC."""
        assert self.lesson is not None
        return self.lesson.begins_at, self.lesson.ends_at

    @property
    def status(self) -> str:
        return "CANCELLED" if self.lesson and self.lesson.is_cancelled else "CONFIRMED"


def calendar_of(person: Person) -> bytes:
    """The person's calendar as a file, the same bytes while its dates are the same."""
    places = {place.pk: place for place in access.calendar_places(person)}
    planned = list(_planned(person))
    taken = {(hour.lesson.enrolment_id, hour.on) for hour in planned}
    days = [*_dues(places, person), *_lessons(places, person, taken)]
    made = Calendar()
    made.add("prodid", PRODUCT)
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("x-wr-calname", _("Lessons and drills"))
    made.add("refresh-interval", ASKED_ANEW, parameters={"VALUE": "DURATION"})  # RFC 7986, 5.7
    for day in sorted(days, key=lambda one: (one.on, one.uid)):
        made.add_component(_event(day))
    if not days:  # RFC 5545, 3.6: a calendar holds one component at least
        made.add_component(Timezone.from_tzid("Etc/UTC"))
    head, *end = made.to_ical().rpartition(END)
    return b"".join([head, *_written(planned), *end])


def _written(hours: Iterable[Hour]) -> Iterator[bytes]:
    """Events of planned lessons, which are thousands: the library takes half a millisecond for
    each. Only what each event has of its own is put in; the rest, and every summary with its
    escapes and folds, is the library's own writing, once for each summary."""
    heads: dict[str, bytes] = {}
    for hour in hours:
        said = heads.get(hour.summary)
        if said is None:
            one = Event()
            one.add("summary", hour.summary)
            lines = one.to_ical().split(b"\r\n", 1)[1]
            said = heads[hour.summary] = lines.rpartition(b"END:VEVENT")[0]
        yield b"BEGIN:VEVENT\r\n" + said + _own_lines(hour) + b"END:VEVENT\r\n"


def _own_lines(hour: Hour) -> bytes:
    begins, ends = (moment.strftime(IN_UTC) for moment in hour.span)
    changed = hour.changed_at.astimezone(UTC).strftime(IN_UTC)
    transparent = "OPAQUE" if hour.status == "CONFIRMED" else "TRANSPARENT"
    return (
        f"DTSTART:{begins}\r\nDTEND:{ends}\r\nDTSTAMP:{changed}\r\nUID:{hour.uid}\r\n"
        f"SEQUENCE:{hour.revision}\r\nLAST-MODIFIED:{changed}\r\nSTATUS:{hour.status}\r\n"
        f"TRANSP:{transparent}\r\n"
    ).encode()


def _dues(places: dict[int, Enrolment], reader: Person) -> Iterator[Day]:
    since = timezone.localdate() - BEHIND
    for one in _to_be_ready(places).filter(due_on__gte=since):
        begun = max(one.set_at, one.published_at)
        changed = max(begun, one.changed_at or begun)
        yield Day(
            uid=_uid("due", one.pk),
            on=one.due_on,
            summary=_named(
                _("Ready by today: %(title)s") % {"title": one.version.title}, one, reader
            ),
            changed_at=changed,
            revision=int((changed - begun).total_seconds()),
        )


def _to_be_ready(places: Iterable[int]) -> QuerySet[Assignment]:
    found = Assignment.objects.filter(access.published(), enrolment__in=list(places), done_at=None)
    return found.select_related("version", "enrolment__pupil").defer(*access.scores_of("version"))


def _planned(reader: Person) -> Iterator[Hour]:
    today = timezone.localdate()
    for one in timetable.in_calendar_of(reader, today - BEHIND, today + AHEAD):
        yield Hour(
            uid=_uid("planned", one.pk),
            on=one.day,
            summary=_named(_("Lesson"), one, reader),
            changed_at=one.changed_at,
            revision=one.sequence,
            lesson=one,
        )


def _lessons(places: dict[int, Enrolment], reader: Person, taken: set) -> Iterator[Day]:
    plans = Rotation.objects.filter(enrolment__in=list(places)).select_related("enrolment__pupil")
    for plan in plans.prefetch_related("holidays"):
        for on in _days(plan.rhythm):
            if (plan.enrolment_id, on) in taken:
                continue
            yield Day(
                uid=_uid("lesson", f"{plan.pk}-{on.isoformat()}"),
                on=on,
                summary=_named(_("Lesson"), plan, reader),
                changed_at=plan.created_at,
            )


def _days(rhythm: Rhythm) -> Iterator[date]:
    today = timezone.localdate()
    try:
        for on in rhythm.days(max(rhythm.first_on, today - BEHIND)):
            if on > today + AHEAD:
                return
            yield on
    except NoFreeDay:
        return


def _named(words: str, of: Assignment | Rotation | PlannedLesson, reader: Person) -> str:
    """With the first name, where it is not the reader's own."""
    pupil = of.enrolment.pupil
    if pupil == reader:
        return words
    return _("%(words)s (%(name)s)") % {"words": words, "name": pupil.first_name}


def _event(day: Day) -> Event:
    event = Event()
    event.add("uid", day.uid)
    event.add("dtstamp", day.changed_at.astimezone(UTC).replace(microsecond=0))
    event.add("last-modified", day.changed_at.astimezone(UTC).replace(microsecond=0))
    event.add("sequence", day.revision)
    event.add("dtstart", day.on)
    event.add("dtend", day.on + ONE_DAY)
    event.add("summary", day.summary)
    event.add("transp", "TRANSPARENT")
    return event


def _uid(what: str, name: object) -> str:
    """A name of its own in the world (RFC 7986, 5.3), which says nothing of ours."""
    return salted_hmac("studio.calendar", f"{what} {name}", algorithm="sha256").hexdigest()[:32]

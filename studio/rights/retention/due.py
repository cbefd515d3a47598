"""What of a pupil's lessons goes when: days are set where something comes due, and taken back.

The day stands in the row of what goes, so that every page can say it.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import DateTimeField, F, Q, QuerySet
from django.db.models.functions import Coalesce
from django.utils import timezone

from studio.accounts import access as people
from studio.accounts import retention
from studio.accounts.models import Enrolment
from studio.accounts.retention import Terms
from studio.clips.models import Clip
from studio.drills.models import Assignment, PracticeEntry


@dataclass(frozen=True, slots=True)
class Going:
    """What goes of a pupil's lessons on one day; ``place`` is the newest one in the studio."""

    place: Enrolment
    on: date
    recordings: int = 0
    clips: int = 0
    drills: int = 0
    practice: int = 0
    lessons: bool = False

    @property
    def is_nothing(self) -> bool:
        kinds = (self.recordings, self.clips, self.drills, self.practice, self.lessons)
        return not any(kinds)


def set_days(places: list[Enrolment], terms: Terms, today: date) -> Going:
    """Set the days of what comes due next of a pupil; what that is. Call it in a transaction.

    ``places`` are all that the pupil has had in one studio, the newest first. What has its day
    already is not said again, and loses it where longer times hold by now.
    """
    _take_back(places, terms)
    newest = places[0]
    on = retention.goes_on(today, today)
    found = due_by(places, terms, on)
    if found.lessons or newest.goes_on is not None:
        new = newest.goes_on is None
        Enrolment.objects.filter(pk=newest.pk, goes_on=None).update(goes_on=on)
        return Going(newest, on, lessons=new)  # all else of them goes with them
    return Going(
        newest,
        on,
        found.recordings.filter(recording_goes_on=None).update(recording_goes_on=on),
        found.clips.filter(goes_on=None).update(goes_on=on),
        found.drills.filter(goes_on=None).update(goes_on=on),
        found.practice.filter(goes_on=None).update(goes_on=on),
    )


@dataclass(frozen=True, slots=True)
class Due:
    """What is due by a day, whether that was said already or not."""

    lessons: bool
    recordings: QuerySet[Clip]
    clips: QuerySet[Clip]
    drills: QuerySet[Assignment]
    practice: QuerySet[PracticeEntry]


def due_by(places: list[Enrolment], terms: Terms, on: date) -> Due:
    """What of a pupil is due by a day, by these times; ``places`` as of :func:`set_days`."""
    clips, days = _clips(places), terms.lasting
    whole = _old(clips, days.figures, on)
    alone = _old(clips.filter(recording_gone_at=None), days.recordings, on)
    return Due(
        _lessons_due(places[0], terms, on),
        alone.exclude(pk__in=whole.values("pk")) if _outlasts(terms) else clips.none(),
        whole,
        _old(_drills(places), terms.drills, on),
        _noted(places, terms.drills, on),
    )


def days_of(places: Iterable[Enrolment]) -> list[Going]:
    """What has a day by now, for the page Your data: by day."""
    found: dict[date, dict[str, int]] = {}
    places = list(places)
    for kind, rows, field in (
        ("recordings", _clips(places), "recording_goes_on"),
        ("clips", _clips(places), "goes_on"),
        ("drills", _drills(places), "goes_on"),
        ("practice", _practice(places), "goes_on"),
    ):
        for on in rows.exclude(**{field: None}).values_list(field, flat=True):
            kinds = found.setdefault(on, {})
            kinds[kind] = kinds.get(kind, 0) + 1
    for place in places:
        if place.goes_on is not None:
            found.setdefault(place.goes_on, {})["lessons"] = True
    return [Going(places[0], on, **found[on]) for on in sorted(found)]


def _take_back(places: list[Enrolment], terms: Terms) -> None:
    """What is kept longer by now goes on no day."""
    days = terms.lasting
    for field, kept, rows in (
        ("goes_on", days.figures, _clips(places)),
        ("recording_goes_on", days.recordings if _outlasts(terms) else None, _clips(places)),
        ("goes_on", terms.drills, _drills(places)),
    ):
        said = rows.exclude(**{field: None})
        for row in said.annotate(since=_since(rows)).only("pk", field):
            if kept is None or _day_of(row.since) + timedelta(days=kept) > getattr(row, field):
                rows.filter(pk=row.pk).update(**{field: None})
    _take_back_practice(places, terms)
    for place in places:
        over = place == places[0] and _lessons_due(place, terms, place.goes_on)
        if place.goes_on is not None and not over:
            Enrolment.objects.filter(pk=place.pk).update(goes_on=None)
            place.goes_on = None


def _take_back_practice(places: list[Enrolment], terms: Terms) -> None:
    said = _practice(places).exclude(goes_on=None)
    if terms.drills is None:
        said.update(goes_on=None)
        return
    for row in said.only("pk", "day", "goes_on"):
        if row.day + timedelta(days=terms.drills) > row.goes_on:
            PracticeEntry.objects.filter(pk=row.pk).update(goes_on=None)


def _lessons_due(newest: Enrolment, terms: Terms, by: date | None) -> bool:
    if by is None or terms.after_end is None or newest.ended_on is None:
        return False
    has_ended = not people.is_current(newest)
    return has_ended and newest.ended_on + timedelta(days=terms.after_end) <= by


def _outlasts(terms: Terms) -> bool:
    """Whether what was measured and said is kept longer than the recording."""
    return terms.lasting.figures != terms.recordings


def _old(rows: QuerySet, days: int | None, on: date) -> QuerySet:
    """Rows that are so many days old on a day."""
    if days is None:
        return rows.none()
    until = datetime.combine(on - timedelta(days=days - 1), time.min)
    old = rows.annotate(since=_since(rows)).filter(since__lt=timezone.make_aware(until))
    return rows.model._default_manager.order_by().filter(pk__in=old.values("pk"))


def _noted(places: list[Enrolment], days: int | None, on: date) -> QuerySet[PracticeEntry]:
    """Entries of practice that are so many days old on a day, by the day of which they are."""
    rows = _practice(places)
    return rows.none() if days is None else rows.filter(day__lte=on - timedelta(days=days))


def _since(rows: QuerySet):
    """From when on it is counted."""
    if rows.model is Assignment:
        return Coalesce("done_at", "set_at", output_field=DateTimeField())
    return F("created_at")


def _day_of(moment: datetime) -> date:
    return timezone.localdate(moment)


def _clips(places: list[Enrolment]) -> QuerySet[Clip]:
    here = Q(enrolment__in=[place.pk for place in places])
    return Clip.objects.filter(here, erased_at=None, intake=Clip.Intake.RECEIVED).order_by()


def _drills(places: list[Enrolment]) -> QuerySet[Assignment]:
    return Assignment.objects.filter(enrolment__in=[place.pk for place in places]).order_by()


def _practice(places: list[Enrolment]) -> QuerySet[PracticeEntry]:
    return PracticeEntry.objects.filter(enrolment__in=[place.pk for place in places]).order_by()

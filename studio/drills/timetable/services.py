"""What changes planned lessons: planned, moved, cancelled, held after all."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, time
from uuid import uuid4

from django.db import transaction
from django.utils import timezone

from studio.accounts.models import Enrolment, Person

from . import access, telling
from .clock import weekly
from .models import PlannedLesson

MOST_WEEKS = 53  # of one series: a year


class Changed(Exception):
    """Somebody else changed the lesson first; nothing was overwritten."""


@dataclass(frozen=True, slots=True)
class When:
    """When a lesson is, how long, and where or how."""

    day: date
    at: time
    zone: str
    minutes: int
    where: str = ""


@transaction.atomic
def plan(
    enrolment: Enrolment,
    teacher: Person,
    when: When,
    until: date | None = None,
    form_key: str = "",
) -> list[PlannedLesson]:
    """Plan one lesson, or one each week ``until`` that day; the same ``form_key`` twice plans once.

    Raises
    ------
    ValueError
        When ``until`` is before the first day, or the lessons would be more than ``MOST_WEEKS``.
    """
    days = [when.day] if until is None else weekly(when.day, until)
    if not 1 <= len(days) <= MOST_WEEKS:
        raise ValueError(f"{len(days)} lessons; plan 1 to {MOST_WEEKS}")
    if form_key:
        Enrolment.objects.select_for_update().get(pk=enrolment.pk)
        before = PlannedLesson.objects.filter(enrolment=enrolment, form_key=form_key)
        if planned := list(before.order_by("number")):
            return planned
    series = uuid4() if len(days) > 1 else None
    made = PlannedLesson.objects.bulk_create(
        PlannedLesson(
            **{"enrolment": enrolment, "planned_by": teacher, "day": day, "at": when.at},
            **{"zone": when.zone, "minutes": when.minutes, "where": when.where},
            **{"series": series, "number": number, "form_key": form_key},
        )
        for number, day in enumerate(days)
    )
    telling.planned(made, teacher)
    return made


@transaction.atomic
def move(
    lesson: PlannedLesson, teacher: Person, when: When, *, seen: int, following: bool
) -> list[PlannedLesson]:
    """Another time, length or place: for this lesson, or for all that follow in its series too.

    Those that follow go as many days on as this one, and to its time; what was cancelled stays so.

    Raises
    ------
    Changed
        When ``seen`` is not the lesson's sequence any more.
    """
    moved = [one for one in _taken(lesson, seen, following) if not one.is_cancelled]
    on = when.day - lesson.day
    for one in moved:
        one.day += on
        one.at, one.zone, one.minutes, one.where = when.at, when.zone, when.minutes, when.where
    _save(moved, "day", "at", "zone", "minutes", "where")
    telling.moved(moved, teacher)
    return moved


@transaction.atomic
def cancel(
    lesson: PlannedLesson, teacher: Person, *, seen: int, following: bool
) -> list[PlannedLesson]:
    """Cancel this lesson, or all that follow in its series too; each stays to be seen as cancelled.

    Raises
    ------
    Changed
        As :func:`move`.
    """
    gone = [one for one in _taken(lesson, seen, following) if not one.is_cancelled]
    for one in gone:
        one.cancelled_at = timezone.now()
    _save(gone, "cancelled_at")
    telling.cancelled(gone, teacher)
    return gone


@transaction.atomic
def hold_after_all(lesson: PlannedLesson, teacher: Person, *, seen: int) -> None:
    """A cancelled lesson is held; raises as :func:`move`."""
    (again,) = _taken(lesson, seen, following=False)
    again.cancelled_at = None
    _save([again], "cancelled_at")
    telling.planned([again], teacher)


def _taken(lesson: PlannedLesson, seen: int, following: bool) -> list[PlannedLesson]:
    """The lessons that are to be changed; the first is locked by its sequence."""
    standing = PlannedLesson.objects.filter(pk=lesson.pk, sequence=seen)
    if not standing.update(changed_at=timezone.now()):
        raise Changed
    lesson.refresh_from_db(fields=["day", "at", "cancelled_at", "sequence", "number"])
    return access.following(lesson) if following else [lesson]


def _save(lessons: Iterable[PlannedLesson], *fields: str) -> None:
    lessons = list(lessons)
    now = timezone.now()
    for one in lessons:
        one.sequence += 1
        one.changed_at = now
    PlannedLesson.objects.bulk_update(lessons, [*fields, "sequence", "changed_at"], batch_size=200)

"""Telling pupil and guardians what became of planned lessons: one sentence for one press.

Each is told by the clock of her own time zone. What is past already is no news.
"""

from collections.abc import Sequence

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from studio import figures
from studio.accounts import guardians
from studio.accounts.models import Enrolment, Person
from studio.accounts.notifications import kinds, schedule, tell

from .models import PlannedLesson


def planned(lessons: Sequence[PlannedLesson], by: Person) -> None:
    _tell(lessons, by, _("%(when)s is planned"), _("%(when)s and %(more)s are planned"))


def moved(lessons: Sequence[PlannedLesson], by: Person) -> None:
    _tell(lessons, by, _("now %(when)s"), _("now %(when)s, and %(more)s are moved with it"))


def cancelled(lessons: Sequence[PlannedLesson], by: Person) -> None:
    _tell(lessons, by, _("%(when)s is cancelled"), _("%(when)s and %(more)s are cancelled"))


def taken_in(place: Enrolment, lessons: Sequence[PlannedLesson], by: Person) -> None:
    """Of many at once, from a calendar's file: how many there are to look at."""
    coming = _coming(lessons)
    if coming:
        many = len(coming)
        said = ngettext(
            "%(many)s lesson is new or changed", "%(many)s lessons are new or changed", many
        )
        for person in _told_of(place):
            _tell_one(person, place, by, coming[0], said % {"many": many})


def _tell(lessons: Sequence[PlannedLesson], by: Person, one: str, several: str) -> None:
    coming = _coming(lessons)
    if not coming:
        return
    first, more = coming[0], len(coming) - 1
    place = first.enrolment
    for person in _told_of(place):
        zone = schedule.zone_of(schedule.times_of(person))
        when = figures.weekday_time(first.begins_at.astimezone(zone))
        rest = ngettext("%(many)s more", "%(many)s more", more) % {"many": more}
        what = (several if more else one) % {"when": when, "more": rest}
        _tell_one(person, place, by, first, what)


def _told_of(place: Enrolment) -> list[Person]:
    return list(dict.fromkeys([place.pupil, *guardians.of(place)]))


def _tell_one(to: Person, place: Enrolment, by: Person, lesson: PlannedLesson, what: str) -> None:
    own = to == place.pupil
    tell(
        to,
        kinds.LESSON,
        key=f"lesson-{lesson.pk}-{lesson.sequence}",
        about=place.pupil,
        by=by,
        studio=place.studio,
        what=what,
        path=reverse("queue") if own else reverse("child", kwargs={"pk": place.pk}),
    )


def _coming(lessons: Sequence[PlannedLesson]) -> list[PlannedLesson]:
    now = timezone.now()
    return [lesson for lesson in lessons if lesson.ends_at > now]

"""Who may reach which key rotation: the studio's teachers change it, pupil and guardian read it."""

from django.db.models import Prefetch, QuerySet
from django.http import Http404

from studio.accounts import access as people
from studio.accounts.access import PLACE, get_or_404
from studio.accounts.models import Enrolment, Person
from studio.accounts.prepared import Prepared

from .. import access as drills
from ..models import Assignment
from .models import Rotation, RotationHoliday, RotationLesson, Round


def rotation_of(enrolment: Enrolment) -> Rotation | None:
    """A pupil's plan with all that is shown of it, or ``None`` before it is begun."""
    return _rotation.first(place=enrolment.pk)


@Prepared
def _rotation() -> QuerySet[Rotation]:
    lessons = RotationLesson.objects.order_by("position", "pk").prefetch_related(
        Prefetch("assignments", Assignment.objects.only("pk", "done_at"))
    )
    return (
        Rotation.objects.filter(enrolment=PLACE)
        .select_related("changed_by", "enrolment__pupil", "enrolment__studio")
        .prefetch_related("holidays", "rounds", Prefetch("rounds__lessons", lessons))[:1]
    )


def taught_rotation(person: Person, pk: int) -> Rotation:
    """The plan of an enrolment in a studio where ``person`` teaches, or 404."""
    rotation = rotation_of(people.taught_enrolment(person, pk))
    if rotation is None:
        raise Http404
    return rotation


def taught_lesson(person: Person, pk: int, lesson_pk: int) -> RotationLesson:
    """A lesson of such a plan, or 404."""
    enrolment = people.taught_enrolment(person, pk)
    lessons = RotationLesson.objects.filter(round__rotation__enrolment=enrolment)
    return get_or_404(lessons.select_related("round__rotation"), lesson_pk)


def taught_round(rotation: Rotation, number: int) -> Round:
    """A round of a plan that was reached already, or 404."""
    found = next((found for found in rotation.rounds.all() if found.number == number), None)
    if found is None:
        raise Http404
    return found


def taught_holiday(rotation: Rotation, pk: int) -> RotationHoliday:
    """A holiday of a plan that was reached already, or 404."""
    return get_or_404(rotation.holidays.all(), pk)


def assignments_of(lesson: RotationLesson):
    """What was set from a lesson, with its drill; the large fields are left out but the request."""
    large = [name for name in drills.scores_of("version") if name != "version__request"]
    here = Assignment.objects.filter(rotation_lessons=lesson)
    return here.select_related("version").defer(*large)

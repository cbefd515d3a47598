"""Who may reach which note: the studio's teachers all, pupil and guardians what is shared."""

from django.db.models import Prefetch, QuerySet

from studio.accounts import access as people
from studio.accounts.access import PLACE, get_or_404
from studio.accounts.models import Enrolment, Person
from studio.accounts.prepared import Given, Prepared

from .. import access as drills
from ..models import Assignment
from ..rotation.models import RotationLesson
from .models import LessonNote

AT_HOME = 2  # notes that a home page shows


def notes_of(enrolment: Enrolment | Given) -> QuerySet[LessonNote]:
    """All notes of a place, for its teachers: the newest lesson first."""
    set_drills = Assignment.objects.select_related("version").defer(*drills.scores_of("version"))
    return (
        LessonNote.objects.filter(enrolment=enrolment)
        .select_related("author", "lesson")
        .prefetch_related(Prefetch("drills_set", set_drills))
        .order_by("-held_on", "-pk")
    )


def shared_of(enrolment: Enrolment | Given) -> QuerySet[LessonNote]:
    """Those of them that pupil and guardians read."""
    shared = LessonNote.objects.filter(enrolment=enrolment, shared_at__isnull=False)
    return shared.select_related("author", "lesson").order_by("-held_on", "-pk")


def shared_at_home(enrolment: Enrolment) -> list[LessonNote]:
    """The newest of them, for the home page."""
    return _at_home(place=enrolment.pk)


_at_home = Prepared(lambda: shared_of(PLACE)[:AT_HOME])


def taught_note(person: Person, pk: int, note_pk: int) -> LessonNote:
    """A note of a place in a studio where ``person`` teaches, or 404."""
    enrolment = people.taught_enrolment(person, pk)
    note = get_or_404(notes_of(enrolment), note_pk)
    note.enrolment = enrolment
    return note


def lessons_to_choose(enrolment: Enrolment) -> QuerySet[RotationLesson]:
    """The lessons of the pupil's plan of keys that a note can be about, in their order."""
    lessons = RotationLesson.objects.filter(round__rotation__enrolment=enrolment)
    return lessons.select_related("round").order_by("round__number", "position", "pk")

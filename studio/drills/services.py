"""What changes several rows: adding and editing drills, setting them, ticking them off."""

from datetime import date

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from studio.accounts.models import Enrolment, Person, Studio

from .models import Assignment, Drill, DrillVersion


@transaction.atomic
def add_drill(studio: Studio, author: Person, **says: str) -> Drill:
    """A new drill with its first version; ``says``: title, words, interval, key."""
    drill = Drill.objects.create(studio=studio, created_by=author)
    DrillVersion.objects.create(drill=drill, number=1, **says)
    return drill


@transaction.atomic
def edit_drill(drill: Drill, **says: str) -> DrillVersion:
    """Change what a drill says. A version that was assigned is frozen: then one is added."""
    drill = Drill.objects.select_for_update().get(pk=drill.pk)
    newest = drill.versions.order_by("-number").first()
    if newest.assignments.exists():
        return DrillVersion.objects.create(drill=drill, number=newest.number + 1, **says)
    for field, value in says.items():
        setattr(newest, field, value)
    newest.save()
    return newest


def archive_drill(drill: Drill) -> None:
    """Take a drill off the shelf. What was set stays set."""
    Drill.objects.filter(pk=drill.pk, archived_at=None).update(archived_at=timezone.now())


@transaction.atomic
def set_drill(
    version: DrillVersion,
    enrolment: Enrolment,
    teacher: Person,
    *,
    due_on: date | None = None,
    goal: str = "",
    published: bool = False,
) -> Assignment:
    """Put a drill at the end of a pupil's queue; hidden until ``published``."""
    last = enrolment.assignments.aggregate(last=Max("position"))["last"] or 0
    return Assignment.objects.create(
        version=version,
        enrolment=enrolment,
        set_by=teacher,
        due_on=due_on,
        goal=goal,
        position=last + 1,
        published_at=timezone.now() if published else None,
    )


def tick_off(assignment: Assignment, done: bool = True) -> None:
    """Mark an assignment as done, or open it again."""
    Assignment.objects.filter(pk=assignment.pk).update(done_at=timezone.now() if done else None)

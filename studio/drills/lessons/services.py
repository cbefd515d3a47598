"""What changes notes: written, changed, shared, deleted; and what was agreed set as drills."""

from datetime import date

from django.db import transaction
from django.utils import timezone

from studio.accounts.models import Enrolment, Person

from .. import services as drills
from ..access import titles_to_set
from ..models import Assignment, Drill, DrillVersion
from .models import LessonNote

LONGEST_TITLE = 120  # letters, as a drill's title has


class Changed(Exception):
    """Somebody else changed the note first; nothing was overwritten."""


@transaction.atomic
def write(
    enrolment: Enrolment, author: Person, *, share: bool, form_key: str = "", **says
) -> LessonNote:
    """A new note; the same ``form_key`` twice makes one. ``says`` are the fields of a note."""
    fields = says | {"author": author, "shared_at": timezone.now() if share else None}
    if not form_key:
        return LessonNote.objects.create(enrolment=enrolment, **fields)
    found, _ = LessonNote.objects.get_or_create(
        enrolment=enrolment, form_key=form_key, defaults=fields
    )
    return found


@transaction.atomic
def change(note: LessonNote, *, share: bool, seen: int, **says) -> None:
    """Other words for a note, or shared from now on, or no longer.

    Raises
    ------
    Changed
        When ``seen`` is not the version that stands there.
    """
    now = timezone.now()
    shared_at = (note.shared_at or now) if share else None
    standing = LessonNote.objects.filter(pk=note.pk, version=seen)
    if not standing.update(version=seen + 1, edited_at=now, shared_at=shared_at, **says):
        raise Changed


def delete(note: LessonNote) -> None:
    """Delete a note; what was set from it stays set."""
    note.delete()


# -- what was agreed -------------------------------------------------------------------------


def drills_named(teacher: Person, studio: int, lines: list[str]) -> dict[str, DrillVersion]:
    """The drill of the shelf, by its newest version, for each line that is the title of one."""
    titles = {title.casefold(): pk for pk, title in reversed(titles_to_set(teacher, studio))}
    named = {line: titles[line.casefold()] for line in lines if line.casefold() in titles}
    found = Drill.objects.filter(pk__in=named.values()).prefetch_related("versions")
    newest = {drill.pk: drill.newest() for drill in found}
    return {line: newest[pk] for line, pk in named.items()}


@transaction.atomic
def set_agreed(
    note: LessonNote,
    teacher: Person,
    lines: list[str],
    due_on: date | None,
    named: dict[str, DrillVersion],
) -> list[Assignment]:
    """Put what was agreed into the pupil's queue, a drill for each line.

    A line of ``named`` sets that drill of the shelf; of any other a drill in words is made. The
    same line pressed twice is one drill (:func:`studio.drills.services.set_drill_now`).
    """
    made = []
    for line in lines:
        version = named.get(line) or _in_words(note, teacher, line)
        assignment = drills.set_drill_now(version, note.enrolment, teacher, due_on=due_on)
        made.append(assignment)
    note.drills_set.add(*made)
    return made


def _in_words(note: LessonNote, teacher: Person, line: str) -> DrillVersion:
    before = note.drills_set.filter(version__words=line).select_related("version").first()
    if before is not None:
        return before.version
    title = line if len(line) <= LONGEST_TITLE else f"{line[: LONGEST_TITLE - 1]}…"
    drill = drills.add_drill_once(note.enrolment.studio, teacher, title=title, words=line)
    return drill.newest()

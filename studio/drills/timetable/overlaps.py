"""Lessons at the same time: said, and never forbidden. Pure but for the lessons it is given."""

from collections.abc import Iterable, Sequence

from .models import PlannedLesson


def overlaps_among(lessons: Iterable[PlannedLesson]) -> dict[int, list[PlannedLesson]]:
    """For each lesson, by number, those that one person would have to be at besides.

    Two lessons meet in one person when they have the teacher or the pupil in common. One that ends
    as another begins does not overlap; what is cancelled is in nobody's way.
    """
    held = sorted((each for each in lessons if not each.is_cancelled), key=_begins)
    found: dict[int, list[PlannedLesson]] = {}
    for one, other in _at_once(held):
        if _meet(one, other):
            found.setdefault(one.pk, []).append(other)
            found.setdefault(other.pk, []).append(one)
    return found


def _at_once(held: Sequence[PlannedLesson]) -> Iterable[tuple[PlannedLesson, PlannedLesson]]:
    open_now: list[PlannedLesson] = []
    for lesson in held:
        begins = lesson.begins_at
        open_now = [each for each in open_now if each.ends_at > begins]
        yield from ((each, lesson) for each in open_now)
        open_now.append(lesson)


def _meet(one: PlannedLesson, other: PlannedLesson) -> bool:
    mine, hers = one.enrolment, other.enrolment
    return mine.teacher_id == hers.teacher_id or mine.pupil_id == hers.pupil_id


def _begins(lesson: PlannedLesson):
    return lesson.begins_at, lesson.pk

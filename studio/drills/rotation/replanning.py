"""The open lessons of a round, put to other keys, another number of them, another order."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date

from studio.theory import Key

from .lists import LessonKeys
from .models import PlannedKey, RotationLesson, Round


def replan(one: Round, wished: Sequence[LessonKeys]) -> None:
    """Let the open lessons of a round be those of ``wished``; done ones stay before them.

    A row whose keys stay keeps what was set from it, wherever it moves; then rows go to the lessons
    that share most keys with them. A key that was ticked off in an open lesson stays ticked off
    where it is wished again.
    """
    lessons = list(one.lessons.order_by("position", "pk"))
    waiting = [lesson for lesson in lessons if lesson.done_on is None]
    if [_keys(lesson) for lesson in waiting] == list(wished):
        return
    days = _ticked(waiting)
    rows = _rows(waiting, wished)
    first = max((lesson.position for lesson in lessons if lesson.done_on), default=0) + 1
    for place, keys in enumerate(wished):
        row = rows[place] or RotationLesson(round=one)
        row.position = first + place
        row.plan(PlannedKey(key, days[key].pop(0) if days[key] else None) for key in keys)
        row.save()
    left_out = {lesson.pk for lesson in waiting} - {row.pk for row in rows if row}
    RotationLesson.objects.filter(pk__in=left_out).delete()


def _keys(lesson: RotationLesson) -> LessonKeys:
    return tuple(planned.key for planned in lesson.planned)


def _ticked(waiting: Sequence[RotationLesson]) -> dict[Key, list[date]]:
    """The days on which each key of open lessons was ticked off, in the order of the lessons."""
    days: dict[Key, list[date]] = defaultdict(list)
    for lesson in waiting:
        for planned in lesson.planned:
            if planned.done_on:
                days[planned.key].append(planned.done_on)
    return days


def _rows(
    waiting: Sequence[RotationLesson], wished: Sequence[LessonKeys]
) -> list[RotationLesson | None]:
    """The row that each wished lesson takes over; ``None`` where it is a new one."""
    free = list(waiting)
    rows: list[RotationLesson | None] = [None] * len(wished)
    for place, keys in enumerate(wished):
        rows[place] = next((row for row in free if _keys(row) == keys), None)
        if row := rows[place]:
            free.remove(row)
    for place, keys in enumerate(wished):
        if rows[place] is None and free:
            row = max(free, key=lambda row: len(set(_keys(row)) & set(keys)))
            if set(_keys(row)) & set(keys):
                rows[place] = row
                free.remove(row)
    return rows

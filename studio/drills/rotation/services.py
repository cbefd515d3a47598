"""What changes a key rotation. Who changes its order or its days says which version was seen."""

from collections.abc import Iterable
from datetime import date

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts.models import Enrolment, Person

from .. import services as drills
from ..models import Assignment
from .models import PlannedKey, Rotation, RotationHoliday, RotationLesson, Round
from .plan import Holiday, NotTheSameLessons, moved, reordered
from .proposals import Proposal
from .rounds import fill
from .starts import Start, start_of
from .versioning import Changed, note, take

MAX_HOLIDAYS = 18


class TooManyHolidays(ValueError):
    """There is no room for another holiday."""


@transaction.atomic
def begin(
    enrolment: Enrolment,
    teacher: Person,
    first_on: date,
    *,
    every_weeks: int = 1,
    start: Start | None = None,
) -> Rotation:
    """A plan with the lists of ``start``: the teacher's own, or what is proposed.

    A plan that is there already stays.
    """
    start = start or start_of(teacher, enrolment.studio)
    try:
        with transaction.atomic():
            rotation = Rotation.objects.create(
                enrolment=enrolment,
                created_by=teacher,
                changed_by=teacher,
                first_on=first_on,
                every_weeks=every_weeks,
                readiness=_unticked(start.readiness),
                done_when=list(start.done_when),
            )
    except IntegrityError:
        return Rotation.objects.get(enrolment=enrolment)
    for number, settings in enumerate(start.rounds, start=1):
        one = Round.objects.create(
            rotation=rotation,
            number=number,
            intervals=list(settings.intervals),
            strings=settings.strings,
            octaves=settings.octaves,
        )
        fill(one, start.lessons)
    return rotation


def _unticked(lines: Iterable[str]) -> list[dict]:
    return [{"words": words, "ticked_on": None} for words in lines]


@transaction.atomic
def change_rhythm(
    rotation: Rotation, teacher: Person, first_on: date, every_weeks: int, *, seen: int
) -> None:
    """Another weekday, or another number of weeks between lessons; every open lesson moves."""
    take(rotation, teacher, seen, first_on=first_on, every_weeks=every_weeks)


@transaction.atomic
def add_holiday(rotation: Rotation, teacher: Person, span: Holiday, *, seen: int) -> None:
    """Days without lessons: what falls on them moves to the next day of the rhythm.

    Raises
    ------
    TooManyHolidays
        When ``MAX_HOLIDAYS`` are ahead.
    """
    take(rotation, teacher, seen)
    holidays = RotationHoliday.objects.filter(rotation=rotation)
    holidays.filter(last_on__lt=timezone.localdate()).delete()  # no day depends on them
    if holidays.count() >= MAX_HOLIDAYS:
        raise TooManyHolidays(
            _("%(max_holidays)s holidays are ahead, which is the most; take one out, or join two")
            % {"max_holidays": MAX_HOLIDAYS}
        )
    RotationHoliday.objects.create(rotation=rotation, first_on=span.first_on, last_on=span.last_on)


@transaction.atomic
def remove_holiday(
    rotation: Rotation, teacher: Person, holiday: RotationHoliday, *, seen: int
) -> None:
    take(rotation, teacher, seen)
    holiday.delete()


@transaction.atomic
def change_lists(
    rotation: Rotation,
    teacher: Person,
    *,
    seen: int,
    readiness: Iterable[str],
    done_when: Iterable[str],
) -> None:
    """What is to be in order: before double stops, and when a key counts as done. A line that stays
    as it was keeps its day."""
    ticked = {line["words"]: line["ticked_on"] for line in rotation.readiness}
    lines = [{"words": words, "ticked_on": ticked.get(words)} for words in readiness]
    take(rotation, teacher, seen, readiness=lines, done_when=list(done_when))


@transaction.atomic
def tick_readiness(
    rotation: Rotation, teacher: Person, places: Iterable[int], *, seen: int
) -> None:
    """What the pupil is ready for, by place in the list from 0; what was ticked before keeps its
    day."""
    wanted, today = set(places), timezone.localdate().isoformat()
    lines = [
        line | {"ticked_on": (line["ticked_on"] or today) if place in wanted else None}
        for place, line in enumerate(rotation.readiness)
    ]
    take(rotation, teacher, seen, readiness=lines)


@transaction.atomic
def move_lesson(lesson: RotationLesson, teacher: Person, way: str, *, seen: int) -> None:
    """Move an open lesson within its round; a done one stays where it is."""
    one = lesson.round
    take(one.rotation, teacher, seen)
    waiting = _open_ids(one)
    if lesson.pk in waiting:
        _put(one, moved(waiting, lesson.pk, way))


@transaction.atomic
def reorder(one: Round, teacher: Person, wished: list[int], *, seen: int) -> None:
    """The open lessons of a round in the order of their numbers in ``wished``.

    Raises
    ------
    Changed
        Also when the wish does not name just the open lessons.
    """
    take(one.rotation, teacher, seen)
    try:
        _put(one, reordered(_open_ids(one), wished))
    except NotTheSameLessons as error:
        raise Changed from error


def _open_ids(one: Round) -> list[int]:
    lessons = one.lessons.order_by("position", "pk")
    return [lesson.pk for lesson in lessons if lesson.done_on is None]


def _put(one: Round, order: list[int]) -> None:
    """The open lessons take the places that open lessons have, in this order."""
    lessons = {lesson.pk: lesson for lesson in one.lessons.filter(pk__in=order)}
    positions = sorted(lesson.position for lesson in lessons.values())
    for pk, position in zip(order, positions, strict=True):
        lessons[pk].position = position
    RotationLesson.objects.bulk_update(lessons.values(), ["position"])


@transaction.atomic
def tick_keys(
    lesson: RotationLesson, teacher: Person, names: Iterable[str], done: bool = True
) -> None:
    """Tick keys of a lesson off today, or open them again. A key ticked before keeps its day.

    What it does is the same whatever else was changed meanwhile, so no version is asked for.
    """
    lesson = RotationLesson.objects.select_for_update().get(pk=lesson.pk)
    wanted, today = set(names), timezone.localdate()
    lesson.plan(
        PlannedKey(one.key, ((one.done_on or today) if done else None))
        if one.name in wanted
        else one
        for one in lesson.planned
    )
    lesson.save(update_fields=["keys"])
    note(lesson.round.rotation, teacher)


@transaction.atomic
def set_drills(
    lesson: RotationLesson,
    teacher: Person,
    proposals: Iterable[Proposal],
    *,
    due_on: date | None = None,
    goal: str = "",
) -> list[Assignment]:
    """Put a lesson's drills into the pupil's queue; those that are there already are left out.

    A drill that the shelf has for the same request is set as it stands there, with the fingers
    that a teacher gave it.
    """
    rotation = Rotation.objects.select_for_update().get(pk=lesson.round.rotation_id)
    before = list(lesson.assignments.values_list("version__request", flat=True))
    made = []
    for proposal in proposals:
        if proposal.made is None or proposal.is_among(before):
            continue
        studio = rotation.enrolment.studio
        version = drills.made_before(studio, proposal.made)
        if version is None:
            version = drills.add_made(studio, teacher, proposal.made, proposal.score).newest()
        made.append(
            drills.set_drill(
                version, rotation.enrolment, teacher, due_on=due_on, goal=goal, published=True
            )
        )
    lesson.assignments.add(*made)
    return made

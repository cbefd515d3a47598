"""What changes a key rotation. Who changes its order or its days says which version was seen."""

from collections.abc import Iterable
from datetime import date

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from studio.accounts.models import Enrolment, Person

from .. import services as drills
from ..access import settings_of
from ..models import Assignment
from .models import READINESS, Rotation, RotationHoliday, RotationLesson, Round
from .plan import FIRST_TONIC, Holiday, NotTheSameLessons, moved, pairs, reordered
from .proposals import Proposal

SECOND_ROUND = Round.Strings.MIDDLE  # a choice of this project: on either side lies a neighbour
MAX_HOLIDAYS = 18


class Changed(Exception):
    """Somebody else changed the plan first; nothing was overwritten."""


class TooManyHolidays(ValueError):
    """There is no room for another holiday."""


@transaction.atomic
def begin(
    enrolment: Enrolment,
    teacher: Person,
    first_on: date,
    *,
    every_weeks: int = 1,
    first: str = FIRST_TONIC,
    pairing: str = "tonic",
    strings: str = SECOND_ROUND,
) -> Rotation:
    """A plan of two rounds: across the strings, then on one pair of them, which means shifting.

    The interval is the first that the studio teaches. A plan that is there already stays.
    """
    try:
        with transaction.atomic():
            rotation = Rotation.objects.create(
                enrolment=enrolment,
                created_by=teacher,
                changed_by=teacher,
                first_on=first_on,
                every_weeks=every_weeks,
            )
    except IntegrityError:
        return Rotation.objects.get(enrolment=enrolment)
    keys = [(str(pair.major), str(pair.minor)) for pair in pairs(first, pairing)]
    intervals = [settings_of(enrolment.studio).order[0]]
    for number, where in enumerate((Round.Strings.ACROSS, strings), start=1):
        one = Round.objects.create(
            rotation=rotation, number=number, intervals=intervals, strings=where
        )
        _fill(one, keys)
    return rotation


def _fill(one: Round, keys: Iterable[tuple[str, str]]) -> None:
    RotationLesson.objects.bulk_create(
        RotationLesson(round=one, position=position, major=major, minor=minor)
        for position, (major, minor) in enumerate(keys, start=1)
    )


@transaction.atomic
def add_round(rotation: Rotation, teacher: Person, *, seen: int) -> Round:
    """Another round of all 24 keys, in the order of the last one.

    It goes where the last one did not: across the strings, or on one pair. Across them again, the
    next interval in the studio's order joins those before it.
    """
    _take(rotation, teacher, seen)
    last = rotation.rounds.order_by("-number").first()
    across = bool(last.strings)
    one = Round.objects.create(
        rotation=rotation,
        number=last.number + 1,
        intervals=[*last.intervals, *_next_interval(rotation, last)] if across else last.intervals,
        strings=Round.Strings.ACROSS if across else SECOND_ROUND,
        octaves=last.octaves,
    )
    _fill(one, last.lessons.order_by("position", "pk").values_list("major", "minor"))
    return one


def _next_interval(rotation: Rotation, last: Round) -> list[str]:
    order = settings_of(rotation.enrolment.studio).order
    return [word for word in order if word not in last.intervals][:1]


@transaction.atomic
def change_rhythm(
    rotation: Rotation, teacher: Person, first_on: date, every_weeks: int, *, seen: int
) -> None:
    """Another weekday, or another number of weeks between lessons; every open lesson moves."""
    _take(rotation, teacher, seen, first_on=first_on, every_weeks=every_weeks)


@transaction.atomic
def add_holiday(rotation: Rotation, teacher: Person, span: Holiday, *, seen: int) -> None:
    """Days without lessons: what falls on them moves to the next day of the rhythm.

    Raises
    ------
    TooManyHolidays
        When ``MAX_HOLIDAYS`` are ahead.
    """
    _take(rotation, teacher, seen)
    holidays = RotationHoliday.objects.filter(rotation=rotation)
    holidays.filter(last_on__lt=timezone.localdate()).delete()  # no day depends on them
    if holidays.count() >= MAX_HOLIDAYS:
        raise TooManyHolidays(
            f"{MAX_HOLIDAYS} holidays are ahead, which is the most; take one out, or join two"
        )
    RotationHoliday.objects.create(rotation=rotation, first_on=span.first_on, last_on=span.last_on)


@transaction.atomic
def remove_holiday(
    rotation: Rotation, teacher: Person, holiday: RotationHoliday, *, seen: int
) -> None:
    _take(rotation, teacher, seen)
    holiday.delete()


@transaction.atomic
def change_round(
    one: Round, teacher: Person, *, seen: int, intervals: list[str], strings: str, octaves: int
) -> None:
    """Which intervals a round is in, and where it is played. What was set stays set."""
    _take(one.rotation, teacher, seen)
    Round.objects.filter(pk=one.pk).update(intervals=intervals, strings=strings, octaves=octaves)


@transaction.atomic
def tick_readiness(rotation: Rotation, teacher: Person, codes: Iterable[str], *, seen: int) -> None:
    """What the pupil is ready for; what was ticked before keeps its day."""
    wanted, today = set(codes), timezone.localdate().isoformat()
    ticked = {code: rotation.readiness.get(code, today) for code in READINESS if code in wanted}
    _take(rotation, teacher, seen, readiness=ticked)


@transaction.atomic
def move_lesson(lesson: RotationLesson, teacher: Person, way: str, *, seen: int) -> None:
    """Move an open lesson within its round; a done one stays where it is."""
    one = lesson.round
    _take(one.rotation, teacher, seen)
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
    _take(one.rotation, teacher, seen)
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
    lesson: RotationLesson, teacher: Person, modes: Iterable[str], done: bool = True
) -> None:
    """Tick keys of a lesson off today, or open them again. A key ticked before keeps its day.

    What it does is the same whatever else was changed meanwhile, so no version is asked for.
    """
    lesson = RotationLesson.objects.select_for_update().get(pk=lesson.pk)
    for mode in modes:
        before = lesson.ticked_on(mode)
        setattr(lesson, f"{mode}_on", (before or timezone.localdate()) if done else None)
    lesson.save(update_fields=["major_on", "minor_on"])
    _note(lesson.round.rotation, teacher)


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
        if proposal.made is None or proposal.made.to_dict() in before:
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


def _take(rotation: Rotation, teacher: Person, seen: int, **changes) -> None:
    """Make the change the plan's next version, or raise when ``seen`` is not the present one."""
    mine = Rotation.objects.filter(pk=rotation.pk, version=seen)
    if not mine.update(version=F("version") + 1, changed_by=teacher, **changes):
        raise Changed


def _note(rotation: Rotation, teacher: Person) -> None:
    Rotation.objects.filter(pk=rotation.pk).update(version=F("version") + 1, changed_by=teacher)

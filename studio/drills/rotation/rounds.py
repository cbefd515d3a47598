"""What changes the rounds of a plan: another one, its settings and its keys, one less."""

from collections.abc import Iterable

from django.db import transaction
from django.utils.translation import gettext as _

from studio.accounts.models import Person

from ..access import settings_of
from .lists import LessonKeys, RoundSettings
from .models import PlannedKey, Rotation, RotationLesson, Round
from .replanning import replan
from .starts import SECOND_ROUND
from .versioning import take


class StaysInThePlan(ValueError):
    """A round that cannot be taken out, and why."""


def fill(one: Round, lessons: Iterable[LessonKeys]) -> None:
    """The lessons of a new round."""
    made = []
    for position, keys in enumerate(lessons, start=1):
        lesson = RotationLesson(round=one, position=position)
        lesson.plan(map(PlannedKey, keys))
        made.append(lesson)
    RotationLesson.objects.bulk_create(made)


@transaction.atomic
def add_round(rotation: Rotation, teacher: Person, *, seen: int) -> Round:
    """Another round of the keys of the last one, in its order.

    It goes where the last one did not: across the strings, or on one pair. Across them again, the
    next interval in the studio's order joins those before it.
    """
    take(rotation, teacher, seen)
    last = rotation.rounds.order_by("-number").first()
    across = bool(last.strings)
    one = Round.objects.create(
        rotation=rotation,
        number=last.number + 1,
        intervals=[*last.intervals, *_next_interval(rotation, last)] if across else last.intervals,
        strings=Round.Strings.ACROSS if across else SECOND_ROUND,
        octaves=last.octaves,
    )
    lessons = last.lessons.order_by("position", "pk")
    fill(one, [tuple(planned.key for planned in lesson.planned) for lesson in lessons])
    return one


def _next_interval(rotation: Rotation, last: Round) -> list[str]:
    order = settings_of(rotation.enrolment.studio).order
    return [word for word in order if word not in last.intervals][:1]


@transaction.atomic
def change_round(
    one: Round,
    teacher: Person,
    *,
    seen: int,
    settings: RoundSettings,
    lessons: tuple[LessonKeys, ...] | None = None,
) -> None:
    """Which intervals a round is in, where it is played, and, where they are given, the keys of the
    lessons that are open. What was set stays set."""
    take(one.rotation, teacher, seen)
    Round.objects.filter(pk=one.pk).update(
        intervals=list(settings.intervals), strings=settings.strings, octaves=settings.octaves
    )
    if lessons is not None:
        replan(one, lessons)


@transaction.atomic
def remove_round(one: Round, teacher: Person, *, seen: int) -> None:
    """Take a round out of the plan; those after it move up.

    Raises
    ------
    StaysInThePlan
        When a key of it is ticked off, or it is the only one.
    """
    rotation = one.rotation
    take(rotation, teacher, seen)
    if any(planned.done_on for lesson in one.lessons.all() for planned in lesson.planned):
        raise StaysInThePlan(
            _(
                "Keys of round %(number)s are ticked off, so it stays. The lessons that are"
                " to come can be taken out of its list."
            )
            % {"number": one.number}
        )
    if rotation.rounds.count() == 1:
        raise StaysInThePlan(_("It is the only round, so it stays. Change its list instead."))
    later = list(rotation.rounds.filter(number__gt=one.number).order_by("number"))
    one.delete()
    for other in later:  # one after the other, since no number may be there twice
        Round.objects.filter(pk=other.pk).update(number=other.number - 1)

"""What a new plan of keys begins with: the teacher's own lists, or what this project proposes.

The proposal: all 24 keys, major and minor in pairs, twice round, first across the strings, then on
one pair of them, which means shifting (common practice, no source).
"""

from collections.abc import Iterable
from dataclasses import asdict, dataclass

from django.utils import timezone

from studio.accounts.models import Person, Studio
from studio.theory import Key
from studio.translating import gettext_lazy

from ..access import settings_of
from .lists import LessonKeys, RoundSettings
from .models import Rotation, RotationStart, Round
from .plan import proposed

SECOND_ROUND = Round.Strings.MIDDLE  # a choice of this project: on either side lies a neighbour
# Ticked by the teacher before double stops begin; common practice, no source.
READINESS = (
    gettext_lazy("Each finger can be set on its tip without disturbing its neighbours."),
    gettext_lazy("The fingers come down from above the strings."),
    gettext_lazy("The grip stays free."),
    gettext_lazy("One finger can lie across two strings so that both sound clear."),
    gettext_lazy("The third finger is in tune against the open string below."),
)
# Common practice, no source: slowly, held and repeated until each is true.
DONE_WHEN = (
    gettext_lazy("Each double stop is held until it is still."),
    gettext_lazy("Both strings sound for the whole bow."),
    gettext_lazy("The hand is as free at the end as at the beginning."),
)


@dataclass(frozen=True, slots=True)
class Start:
    """The lists of a plan; ``is_own`` where the teacher kept them, and not this project's."""

    lessons: tuple[LessonKeys, ...]
    rounds: tuple[RoundSettings, ...]
    readiness: tuple[str, ...] = READINESS
    done_when: tuple[str, ...] = DONE_WHEN
    is_own: bool = False


def proposal(studio: Studio) -> Start:
    """What this project proposes; the interval is the first that the studio teaches."""
    intervals = (settings_of(studio).order[0],)
    rounds = tuple(RoundSettings(intervals, where) for where in ("", SECOND_ROUND.value))
    return Start(proposed(), rounds)


def start_of(teacher: Person, studio: Studio) -> Start:
    """What a teacher's next plan in a studio begins with."""
    kept = RotationStart.objects.filter(person=teacher, studio=studio).first()
    if kept is None:
        return proposal(studio)
    return Start(
        tuple(tuple(map(Key.parse, keys)) for keys in kept.lessons),
        tuple(RoundSettings(**one | {"intervals": tuple(one["intervals"])}) for one in kept.rounds),
        tuple(kept.readiness),
        tuple(kept.done_when),
        is_own=True,
    )


def keep(teacher: Person, studio: Studio, start: Start) -> None:
    """What the teacher's plans in this studio begin with from now on."""
    lists = {
        "lessons": [[str(key) for key in keys] for keys in start.lessons],
        "rounds": [asdict(one) for one in start.rounds],
        "readiness": list(start.readiness),
        "done_when": list(start.done_when),
        "kept_at": timezone.now(),
    }
    RotationStart.objects.update_or_create(person=teacher, studio=studio, defaults=lists)


def start_from(rotation: Rotation) -> Start:
    """The lists of a plan as it stands: the lessons are those of its first round."""
    rounds = list(rotation.rounds.all())
    return Start(
        _lessons(rounds[0]) if rounds else (),
        tuple(one.settings for one in rounds),
        words_of(rotation.readiness),
        tuple(rotation.done_when),
    )


def words_of(readiness: Iterable[dict]) -> tuple[str, ...]:
    return tuple(line["words"] for line in readiness)


def _lessons(one: Round) -> tuple[LessonKeys, ...]:
    return tuple(tuple(planned.key for planned in lesson.planned) for lesson in one.lessons.all())

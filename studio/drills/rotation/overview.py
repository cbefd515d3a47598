"""A plan as it is shown: its lessons with their days, what is next, and how far it is."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from django.utils import timezone

from studio.accounts.names import listed

from .models import PlannedKey, Rotation, RotationLesson, Round


@dataclass(frozen=True, slots=True)
class Place:
    """A lesson in its round: its number from 1, and the day it was held or will be."""

    lesson: RotationLesson
    number: int
    day: date
    is_first: bool = False
    is_last: bool = False

    @property
    def half_done(self) -> str:
        """The names of the keys that are ticked off, while others are open."""
        lesson = self.lesson
        if lesson.done_on is not None:
            return ""
        return listed(one.key.name for one in lesson.planned if one.done_on)

    @property
    def set_count(self) -> int:
        return len(self.lesson.assignments.all())

    @property
    def set_done(self) -> int:
        return sum(assignment.done_at is not None for assignment in self.lesson.assignments.all())


@dataclass(frozen=True, slots=True)
class RoundOverview:
    round: Round
    done: list[Place] = field(default_factory=list)
    open: list[Place] = field(default_factory=list)

    @property
    def keys_done(self) -> int:
        """How many of its keys are ticked off, those of half-done lessons too."""
        return sum(planned.done_on is not None for planned in self._planned)

    @property
    def keys(self) -> int:
        """How many keys it has in all; one that comes twice counts twice."""
        return len(self._planned)

    @property
    def _planned(self) -> list[PlannedKey]:
        return [one for place in (*self.done, *self.open) for one in place.lesson.planned]

    @property
    def begins(self) -> date | None:
        places = [*self.done, *self.open]
        return places[0].day if places else None


@dataclass(frozen=True, slots=True)
class Overview:
    """A plan on ``today``: open lessons on coming days, in the order of the rounds."""

    rotation: Rotation
    today: date
    rounds: list[RoundOverview]

    @property
    def next(self) -> Place | None:
        """The next lesson, while one is open."""
        return next((place for shown in self.rounds for place in shown.open), None)

    @property
    def current(self) -> RoundOverview | None:
        """The round of the next lesson; the last one when all are done."""
        with_open = (shown for shown in self.rounds if shown.open)
        return next(with_open, self.rounds[-1] if self.rounds else None)

    @property
    def last_held(self) -> date | None:
        return max((p.day for shown in self.rounds for p in shown.done), default=None)

    def place_of(self, lesson: RotationLesson) -> Place:
        """Where a lesson of this plan stands."""
        every = (place for shown in self.rounds for place in (*shown.done, *shown.open))
        return next(place for place in every if place.lesson.pk == lesson.pk)


def overview_of(rotation: Rotation, today: date | None = None) -> Overview:
    """The plan as it stands today; uses what was fetched with it and asks nothing more."""
    today = today or timezone.localdate()
    rounds = list(rotation.rounds.all())
    lessons = [lesson for one in rounds for lesson in one.lessons.all()]
    held = [lesson.done_on for lesson in lessons if lesson.done_on]
    waiting = [lesson for lesson in lessons if not lesson.done_on]
    days = rotation.rhythm.next_days(len(waiting), today, max(held, default=None))
    day_of = {lesson.pk: day for lesson, day in zip(waiting, days, strict=True)}
    return Overview(rotation, today, [_round(one, day_of) for one in rounds])


def _round(one: Round, day_of: dict[int, date]) -> RoundOverview:
    lessons = list(one.lessons.all())
    done = sorted((lesson for lesson in lessons if lesson.done_on), key=lambda found: found.done_on)
    waiting = [lesson for lesson in lessons if not lesson.done_on]
    return RoundOverview(
        one,
        [Place(lesson, number, lesson.done_on) for number, lesson in enumerate(done, 1)],
        _open(waiting, day_of, len(done) + 1),
    )


def _open(waiting: Sequence[RotationLesson], day_of: dict[int, date], start: int) -> list[Place]:
    last = len(waiting) - 1
    return [
        Place(lesson, start + place, day_of[lesson.pk], place == 0, place == last)
        for place, lesson in enumerate(waiting)
    ]

"""A pupil's key rotation: the plan, its rounds, their lessons, and the days without lessons.

A :class:`Rotation` belongs to one enrolment. Its :class:`Round` s follow each other, each with its
keys in its :class:`RotationLesson` s: which, in which order and how many a lesson is the teacher's
own. A lesson is open until all its keys are ticked off; days of open lessons are computed
(``plan.Rhythm``), never stored. ``version`` goes up with every change, so that of two teachers who
change the plan at once the second is told.

A :class:`RotationStart` is what one teacher's new plans in a studio begin with; without one they
begin with what ``starts`` proposes.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts.models import Enrolment, Person, Studio
from studio.accounts.names import listed
from studio.notation import INTERVALS
from studio.theory import Key

from .lists import PLACES, RoundSettings
from .plan import Holiday, Rhythm


class Rotation(models.Model):
    enrolment = models.OneToOneField(Enrolment, models.CASCADE, related_name="rotation")
    created_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)
    first_on = models.DateField(help_text="A day of the rhythm; the others are whole steps away.")
    every_weeks = models.PositiveSmallIntegerField(default=1)
    readiness = models.JSONField(
        default=list,
        blank=True,
        help_text="The teacher's list: words, and ticked_on, a day or null, of each.",
    )
    done_when = models.JSONField(
        default=list, blank=True, help_text="What is in order when a key counts as done, in words."
    )
    version = models.PositiveIntegerField(default=1)
    changed_by = models.ForeignKey(Person, models.SET_NULL, null=True, blank=True, related_name="+")

    def __str__(self) -> str:
        return _("keys of %(pupil)s") % {"pupil": self.enrolment.pupil}

    @property
    def rhythm(self) -> Rhythm:
        """When lessons are; uses holidays that were fetched with it."""
        holidays = tuple(holiday.span for holiday in self.holidays.all())
        return Rhythm(self.first_on, self.every_weeks, holidays)


class RotationHoliday(models.Model):
    """Days without lessons, both ends included."""

    rotation = models.ForeignKey(Rotation, models.CASCADE, related_name="holidays")
    first_on = models.DateField()
    last_on = models.DateField()

    class Meta:
        ordering = ["first_on", "pk"]

    def __str__(self) -> str:
        return f"{self.first_on} to {self.last_on}"

    @property
    def span(self) -> Holiday:
        return Holiday(self.first_on, self.last_on)


class Round(models.Model):
    """Keys in some intervals, across the strings or on one pair of them."""

    class Strings(models.TextChoices):
        ACROSS = "", PLACES[""]
        LOW = "4-3", PLACES["4-3"]
        MIDDLE = "3-2", PLACES["3-2"]
        HIGH = "2-1", PLACES["2-1"]

    rotation = models.ForeignKey(Rotation, models.CASCADE, related_name="rounds")
    number = models.PositiveSmallIntegerField()
    intervals = models.JSONField(help_text="Words such as octaves; each key is played in each.")
    strings = models.CharField(
        max_length=4, choices=Strings, blank=True, default=Strings.ACROSS, verbose_name="played"
    )
    octaves = models.PositiveSmallIntegerField(default=1, help_text="Range of the lower note.")

    class Meta:
        ordering = ["rotation", "number"]
        constraints = [
            models.UniqueConstraint(fields=["rotation", "number"], name="one_round_a_number")
        ]

    def __str__(self) -> str:
        return f"round {self.number}"

    @property
    def pair(self) -> tuple[int, int] | None:
        """The pair of strings by the player's numbers, the lower string first."""
        low, _rest, high = self.strings.partition("-")
        return (int(low), int(high)) if high else None

    @property
    def known_intervals(self) -> tuple[str, ...]:
        return tuple(word for word in self.intervals if word in INTERVALS)

    @property
    def settings(self) -> RoundSettings:
        """Its settings as plain values."""
        return RoundSettings(self.known_intervals, self.strings, self.octaves)


@dataclass(frozen=True, slots=True)
class PlannedKey:
    """A key of a lesson, and the day on which it was ticked off, where it was."""

    key: Key
    done_on: date | None = None

    @property
    def name(self) -> str:
        """What forms and addresses call it, such as ``F#-minor``."""
        return str(self.key).replace(" ", "-")


class RotationLesson(models.Model):
    """The keys of a lesson, each with the day on which it was ticked off."""

    round = models.ForeignKey(Round, models.CASCADE, related_name="lessons")
    position = models.PositiveSmallIntegerField()
    keys = models.JSONField(
        default=list, help_text="In the order played: key, and done_on, a day or null, of each."
    )
    assignments = models.ManyToManyField(
        "drills.Assignment", blank=True, related_name="rotation_lessons"
    )

    class Meta:
        ordering = ["round", "position", "pk"]

    def __str__(self) -> str:
        return listed(planned.key.name for planned in self.planned)

    @property
    def planned(self) -> list[PlannedKey]:
        """Its keys in order."""
        return [
            PlannedKey(
                Key.parse(one["key"]),
                date.fromisoformat(one["done_on"]) if one["done_on"] else None,
            )
            for one in self.keys
        ]

    def plan(self, planned: Iterable[PlannedKey]) -> None:
        """Write the keys, without saving the row."""
        self.keys = [
            {"key": str(one.key), "done_on": one.done_on.isoformat() if one.done_on else None}
            for one in planned
        ]

    @property
    def done_on(self) -> date | None:
        """The day on which the last of its keys was ticked off; ``None`` while it is open."""
        days = [planned.done_on for planned in self.planned]
        return max(day for day in days if day) if days and all(days) else None


class RotationStart(models.Model):
    """The lists that a teacher's new plans of keys begin with, in one studio."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="rotation_starts")
    studio = models.ForeignKey(Studio, models.CASCADE, related_name="rotation_starts")
    lessons = models.JSONField(default=list, help_text="The keys of each lesson of a round.")
    rounds = models.JSONField(default=list, help_text="intervals, strings and octaves of each.")
    readiness = models.JSONField(default=list, help_text="What the pupil is ready for, in words.")
    done_when = models.JSONField(
        default=list, help_text="What is in order when a key counts as done, in words."
    )
    kept_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "studio"], name="one_rotation_start_a_studio")
        ]

    def __str__(self) -> str:
        return _("plans of %(person)s in %(studio)s") % {
            "person": self.person,
            "studio": self.studio,
        }

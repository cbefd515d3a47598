"""A pupil's key rotation: the plan, its rounds, their lessons, and the days without lessons.

A :class:`Rotation` belongs to one enrolment. Its :class:`Round` s follow each other, each with all
24 keys in its :class:`RotationLesson` s. A lesson is open until both its keys are ticked off; days
of open lessons are computed (``plan.Rhythm``), never stored. ``version`` goes up with every change,
so that of two teachers who change the plan at once the second is told.
"""

from datetime import date

from django.db import models
from django.utils import timezone

from studio.accounts.models import Enrolment, Person
from studio.notation import INTERVALS
from studio.theory import Key

from .plan import Holiday, Rhythm

# Ticked by the teacher before double stops begin; common practice, no source.
READINESS = {
    "tips": "Each finger can be set on its tip without disturbing its neighbours.",
    "above": "The fingers come down from above the strings.",
    "grip": "The grip stays free.",
    "flat": "One finger can lie across two strings so that both sound clear.",
    "check": "The third finger is in tune against the open string below.",
}


class Rotation(models.Model):
    enrolment = models.OneToOneField(Enrolment, models.CASCADE, related_name="rotation")
    created_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)
    first_on = models.DateField(help_text="A day of the rhythm; the others are whole steps away.")
    every_weeks = models.PositiveSmallIntegerField(default=1)
    readiness = models.JSONField(
        default=dict, blank=True, help_text="Day on which each item was ticked, by its code."
    )
    version = models.PositiveIntegerField(default=1)
    changed_by = models.ForeignKey(Person, models.SET_NULL, null=True, blank=True, related_name="+")

    def __str__(self) -> str:
        return f"keys of {self.enrolment.pupil}"

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
    """All 24 keys once, in some intervals, across the strings or on one pair of them."""

    class Strings(models.TextChoices):
        ACROSS = "", "across the strings"
        LOW = "4-3", "on the two lowest strings"
        MIDDLE = "3-2", "on the two middle strings"
        HIGH = "2-1", "on the two highest strings"

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
        low, _, high = self.strings.partition("-")
        return (int(low), int(high)) if high else None

    @property
    def known_intervals(self) -> tuple[str, ...]:
        return tuple(word for word in self.intervals if word in INTERVALS)


class RotationLesson(models.Model):
    """A major and a minor key, each with the day on which it was ticked off."""

    round = models.ForeignKey(Round, models.CASCADE, related_name="lessons")
    position = models.PositiveSmallIntegerField()
    major = models.CharField(max_length=16)
    minor = models.CharField(max_length=16)
    major_on = models.DateField(null=True, blank=True)
    minor_on = models.DateField(null=True, blank=True)
    assignments = models.ManyToManyField(
        "drills.Assignment", blank=True, related_name="rotation_lessons"
    )

    class Meta:
        ordering = ["round", "position", "pk"]

    def __str__(self) -> str:
        major, minor = (key.name for key in self.keys.values())
        return f"{major} and {minor}"

    @property
    def keys(self) -> dict[str, Key]:
        """Its keys by mode, major first."""
        return {"major": Key.parse(self.major), "minor": Key.parse(self.minor)}

    def ticked_on(self, mode: str) -> date | None:
        """The day on which a key was ticked off, where it was."""
        return self.major_on if mode == "major" else self.minor_on

    @property
    def done_on(self) -> date | None:
        """The day on which the last of both keys was ticked off; ``None`` while it is open."""
        return max(self.major_on, self.minor_on) if self.major_on and self.minor_on else None

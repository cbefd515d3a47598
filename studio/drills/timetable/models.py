"""Planned lessons, one row each.

What repeats every week is as many rows, with one ``series`` and a ``number`` within it: each can be
moved or cancelled by itself, and nothing has to be worked out to know when a lesson is. A lesson is
meant by the clock of its ``zone``: its day and time are kept, never an offset, so 16:00 stays 16:00
when the clocks change, and when a country changes its mind about them.

``sequence`` goes up with every change, so that of two teachers who change a lesson at once the
second is told, and calendars know the newer one. ``source`` is of what came from a calendar's file.
"""

from datetime import datetime, timedelta

from django.db import models
from django.db.models import Q
from django.utils import timezone

from studio import figures
from studio.accounts.models import Enrolment, Person

from .clock import moment


class PlannedLesson(models.Model):
    enrolment = models.ForeignKey(Enrolment, models.CASCADE, related_name="planned_lessons")
    planned_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    day = models.DateField(help_text="By the clock of its zone, as the time is.")
    at = models.TimeField()
    zone = models.CharField(max_length=64, help_text="A name of the IANA time zone database.")
    minutes = models.PositiveSmallIntegerField()
    where = models.CharField(
        max_length=200, blank=True, help_text="Where or how it is held: a place, a link."
    )
    series = models.UUIDField(null=True, blank=True, help_text="Of what repeats; else empty.")
    number = models.PositiveSmallIntegerField(default=0, help_text="Its place in the series.")
    cancelled_at = models.DateTimeField(null=True, blank=True)
    sequence = models.PositiveIntegerField(default=0, help_text="Raised by each change.")
    changed_at = models.DateTimeField(default=timezone.now)
    created_at = models.DateTimeField(default=timezone.now)
    source = models.CharField(
        max_length=64, blank=True, help_text="Its name in a calendar’s file, hashed, and its day."
    )
    form_key = models.CharField(
        max_length=64, blank=True, help_text="Chosen by the page, so that one press plans once."
    )

    class Meta:
        ordering = ["day", "at", "pk"]
        indexes = [
            models.Index(fields=["enrolment", "day"], name="planned_lessons_of_a_place"),
            models.Index(fields=["series", "number"], name="planned_lessons_in_series"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["enrolment", "form_key", "number"],
                condition=~Q(form_key=""),
                name="one_planned_lesson_a_press",
            ),
            models.UniqueConstraint(
                fields=["enrolment", "source"],
                condition=~Q(source=""),
                name="one_planned_lesson_a_source",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.enrolment.pupil}, {self.day} {figures.time_of_day(self.at)} {self.zone}"

    @property
    def begins_at(self) -> datetime:
        """The moment, in UTC."""
        return moment(self.day, self.at, self.zone)

    @property
    def ends_at(self) -> datetime:
        return self.begins_at + timedelta(minutes=self.minutes)

    @property
    def is_cancelled(self) -> bool:
        return self.cancelled_at is not None

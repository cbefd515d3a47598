"""Drills, their versions, and the assignments that set one version for one pupil.

A :class:`Drill` is a place on the shelf; what it says is its newest :class:`DrillVersion`. An
assignment points at a version, and an assigned version is frozen: editing the drill then adds
a version (``services.edit_drill``).

Assignment: set (hidden from the pupil) → published (when the review it belongs to is returned)
→ done (ticked off by the pupil, and may be opened again).
"""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from studio.accounts.models import Enrolment, Person, Studio


class Interval(models.TextChoices):
    """The interval a drill is about, in the usual short names."""

    UNISON = "P1", "unisons"
    MINOR_THIRD = "m3", "minor thirds"
    MAJOR_THIRD = "M3", "major thirds"
    THIRDS = "3", "thirds"
    FOURTH = "P4", "fourths"
    FIFTH = "P5", "fifths"
    MINOR_SIXTH = "m6", "minor sixths"
    MAJOR_SIXTH = "M6", "major sixths"
    SIXTHS = "6", "sixths"
    OCTAVE = "P8", "octaves"
    TENTHS = "10", "tenths"
    MIXED = "", "mixed or single notes"

    @classmethod
    def families(cls) -> tuple["Interval", ...]:
        """Choices that stand for more than one size."""
        return (cls.THIRDS, cls.SIXTHS, cls.TENTHS, cls.MIXED)


class Drill(models.Model):
    studio = models.ForeignKey(Studio, models.CASCADE, related_name="drills")
    created_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)
    archived_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        newest = self.newest()
        return newest.title if newest else f"drill {self.pk}"

    def newest(self) -> "DrillVersion | None":
        """What the drill says now; uses versions that were fetched with it."""
        return max(self.versions.all(), key=lambda version: version.number, default=None)


class DrillVersion(models.Model):
    """What a drill says. ``key`` is a key name such as "B-flat major", or empty."""

    drill = models.ForeignKey(Drill, models.CASCADE, related_name="versions")
    number = models.PositiveIntegerField()
    title = models.CharField(max_length=120)
    words = models.TextField(help_text="What to practise, and how.")
    interval = models.CharField(max_length=4, choices=Interval, blank=True, default=Interval.MIXED)
    key = models.CharField(max_length=24, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["drill", "number"]
        constraints = [
            models.UniqueConstraint(fields=["drill", "number"], name="one_drill_version_a_number")
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def one_interval(self) -> str | None:
        """The short name of the one interval this drill is about, where it is about one."""
        return None if self.interval in Interval.families() else self.interval


class Assignment(models.Model):
    enrolment = models.ForeignKey(Enrolment, models.CASCADE, related_name="assignments")
    version = models.ForeignKey(DrillVersion, models.PROTECT, related_name="assignments")
    set_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    set_at = models.DateTimeField(default=timezone.now)
    due_on = models.DateField(null=True, blank=True)
    goal = models.CharField(max_length=200, blank=True)
    position = models.PositiveIntegerField(default=0, help_text="Place in the pupil's queue.")
    published_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["position", "pk"]
        indexes = [
            models.Index(
                fields=["enrolment", "position"],
                condition=Q(done_at__isnull=True),
                name="assignment_queue",
            )
        ]

    def __str__(self) -> str:
        return f"{self.version} for {self.enrolment.pupil}"

"""Drills, their versions, and the assignments that set one version for one pupil.

A version may carry a *score*: the page to play from, as plain values (``Score.to_dict``).

A :class:`Drill` is a place on the shelf; what it says is its newest :class:`DrillVersion`. An
assignment points at a version, and an assigned version is frozen: editing the drill then adds
a version (``services.edit_drill``).

Assignment: set (hidden from the pupil) → published (when the review it belongs to is returned)
→ done (ticked off by the pupil, and may be opened again).
"""

import logging
import uuid
from functools import cached_property

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Enrolment, Instrument, Level, Person, Studio
from studio.accounts.names import OneLineField
from studio.notation import Score
from studio.notation.request import SINGLE_LINES
from studio.translating import gettext_lazy

# Parts of their own, whose tables belong to this app: Django finds models where they are imported.
from .lessons.models import LessonNote  # noqa: F401
from .practice.models import PracticeEntry  # noqa: F401
from .reading.models import ScoreReading  # noqa: F401
from .rotation.models import (  # noqa: F401
    Rotation,
    RotationHoliday,
    RotationLesson,
    RotationStart,
    Round,
)
from .timetable.models import PlannedLesson  # noqa: F401

log = logging.getLogger(__name__)


class Interval(models.TextChoices):
    """The interval a drill is about, in the usual short names."""

    UNISON = "P1", gettext_lazy("unisons")
    MINOR_THIRD = "m3", gettext_lazy("minor thirds")
    MAJOR_THIRD = "M3", gettext_lazy("major thirds")
    THIRDS = "3", gettext_lazy("thirds")
    FOURTH = "P4", gettext_lazy("fourths")
    FIFTH = "P5", gettext_lazy("fifths")
    MINOR_SIXTH = "m6", gettext_lazy("minor sixths")
    MAJOR_SIXTH = "M6", gettext_lazy("major sixths")
    SIXTHS = "6", gettext_lazy("sixths")
    OCTAVE = "P8", gettext_lazy("octaves")
    TENTHS = "10", gettext_lazy("tenths")
    MIXED = "", gettext_lazy("mixed or single notes")

    @classmethod
    def families(cls) -> tuple["Interval", ...]:
        """Choices that stand for more than one size."""
        return (cls.THIRDS, cls.SIXTHS, cls.TENTHS, cls.MIXED)


class Drill(models.Model):
    studio = models.ForeignKey(Studio, models.CASCADE, related_name="drills")
    created_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)
    archived_at = models.DateTimeField(null=True, blank=True)
    tags = OneLineField(
        max_length=200, blank=True, help_text=gettext_lazy("Further words to find it by.")
    )

    def __str__(self) -> str:
        newest = self.newest()
        return newest.title if newest else f"drill {self.pk}"

    def newest(self) -> "DrillVersion | None":
        """What the drill says now; uses versions that were fetched with it."""
        return max(self.versions.all(), key=lambda version: version.number, default=None)


class DrillVersion(models.Model):
    """What a drill says. ``key`` is a key name such as "B-flat major", or empty.

    ``score`` holds ``Score.to_dict``, ``request`` the ``Request.to_dict`` it was made from.
    """

    class Source(models.TextChoices):
        WRITTEN = "written", gettext_lazy("written in words")
        GENERATED = "generated", gettext_lazy("made to order")
        IMPORTED = "imported", gettext_lazy("from a file")

    drill = models.ForeignKey(Drill, models.CASCADE, related_name="versions")
    number = models.PositiveIntegerField()
    title = OneLineField(max_length=120)
    words = models.TextField(help_text="What to practise, and how.")
    interval = models.CharField(max_length=4, choices=Interval, blank=True, default=Interval.MIXED)
    key = models.CharField(max_length=24, blank=True)
    level = models.CharField(max_length=16, choices=Level, blank=True)
    instrument = models.CharField(max_length=16, choices=Instrument.Kind, blank=True)
    source = models.CharField(max_length=16, choices=Source, default=Source.WRITTEN)
    score = models.JSONField(null=True, blank=True)
    request = models.JSONField(null=True, blank=True)
    incipit = models.TextField(
        blank=True, help_text="The engraved beginning of the score, for lists."
    )
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

    @property
    def is_melody(self) -> bool:
        """Whether it was made as a single line, whose notes are judged by a melodic tuning."""
        return bool(self.request) and self.request.get("pattern") in SINGLE_LINES

    @cached_property
    def page(self) -> Score | None:
        """The score to play from, where the drill has one that can be read."""
        if not self.score:
            return None
        try:
            return Score.from_dict(self.score)
        except (AttributeError, KeyError, TypeError, ValueError):
            log.exception("the stored score of drill version %s cannot be read", self.pk)
            return None


class SingleNotes(models.TextChoices):
    """The tunings that the single notes of a page may be judged by."""

    EQUAL = "equal", gettext_lazy("by equal steps")
    PYTHAGOREAN = "pythagorean", gettext_lazy("by pure fifths (Pythagorean)")


class Assignment(models.Model):
    enrolment = models.ForeignKey(Enrolment, models.CASCADE, related_name="assignments")
    version = models.ForeignKey(DrillVersion, models.PROTECT, related_name="assignments")
    set_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    set_at = models.DateTimeField(default=timezone.now)
    due_on = models.DateField(null=True, blank=True)
    goal = models.CharField(max_length=200, blank=True)
    tolerance_cents = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="What counts as in tune; empty: as for the pupil's level."
    )
    share_percent = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="How many of the written notes are to be in tune."
    )
    playings = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="How often each is to be played."
    )
    single_notes = models.CharField(
        max_length=16,
        choices=SingleNotes,
        blank=True,
        help_text="The tuning that single notes are judged by; empty: as the drill is made.",
    )
    position = models.PositiveIntegerField(default=0, help_text="Place in the pupil's queue.")
    published_at = models.DateTimeField(null=True, blank=True)
    changed_at = models.DateTimeField(
        null=True, blank=True, help_text="When its day or its goals were set anew."
    )
    told_at = models.DateTimeField(
        null=True, blank=True, help_text="When those at home were told that it is set."
    )
    done_at = models.DateTimeField(null=True, blank=True)
    goes_on = models.DateField(
        null=True, blank=True, help_text="When it goes by itself, as people were told."
    )
    erasure_id = models.UUIDField(
        default=uuid.uuid4,
        unique=True,
        editable=False,
        help_text="What the list of the erased knows it by.",
    )

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

    @property
    def is_published(self) -> bool:
        """Whether the pupil sees it by now."""
        return self.published_at is not None and self.published_at <= timezone.now()

    @property
    def goal_in_figures(self) -> str:
        """What counts as done, in one phrase; empty where no figure was set."""
        if not (self.share_percent or self.tolerance_cents or self.playings):
            return ""
        every = self.share_percent in (None, 100)
        share = (
            _("every note")
            if every
            else _("%(share_percent)s %% of the notes") % {"share_percent": self.share_percent}
        )
        cents = self.tolerance_cents
        fine = _("within %(cents)s") % {"cents": figures.cents(cents)} if cents else _("in tune")
        often = (
            _(", each played %(playings)s times") % {"playings": self.playings}
            if (self.playings or 1) > 1
            else ""
        )
        return f"{share} {fine}{often}"

    def needed_of(self, written: int) -> int:
        """How many of so many written notes are to be in tune."""
        return -(-written * (self.share_percent or 100) // 100)


class Favourite(models.Model):
    """A drill that a teacher keeps at hand."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="favourite_drills")
    drill = models.ForeignKey(Drill, models.CASCADE, related_name="favourites")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "drill"], name="one_favourite_a_person")
        ]

    def __str__(self) -> str:
        return f"{self.drill_id} of {self.person}"


class ShelfSettings(models.Model):
    """How a studio works: the order in which intervals are taught, and its usual instrument."""

    # Common practice, no source; a teacher may order them otherwise.
    USUAL_ORDER = ("octaves", "sixths", "thirds", "tenths", "fourths", "fifths", "unisons")

    studio = models.OneToOneField(Studio, models.CASCADE, related_name="shelf_settings")
    interval_order = models.JSONField(
        default=list, help_text="Words for intervals, the first taught first; empty: the usual."
    )
    instrument = models.CharField(
        max_length=16, choices=Instrument.Kind, default=Instrument.Kind.VIOLIN
    )
    string_length_mm = models.FloatField(
        null=True, blank=True, help_text="Empty: the instrument's usual one."
    )

    class Meta:
        verbose_name_plural = gettext_lazy("shelf settings")

    def __str__(self) -> str:
        return _("shelf of %(studio)s") % {"studio": self.studio}

    @property
    def order(self) -> tuple[str, ...]:
        """All intervals in the studio's order; what it does not name follows as usual."""
        chosen = [word for word in self.interval_order if word in self.USUAL_ORDER]
        return (*chosen, *(word for word in self.USUAL_ORDER if word not in chosen))

"""Notes of lessons: what a teacher writes of one, and what was agreed in it.

A :class:`LessonNote` is read by the studio's teachers alone until it is shared; then pupil and
guardians read it too. ``version`` goes up with every change, so that of two teachers who write at
once the second is told.
"""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from studio.accounts.models import Enrolment, Person

from ..rotation.models import RotationLesson


class LessonNote(models.Model):
    enrolment = models.ForeignKey(Enrolment, models.CASCADE, related_name="lesson_notes")
    author = models.ForeignKey(Person, models.PROTECT, related_name="+")
    held_on = models.DateField(default=timezone.localdate, help_text="The day of the lesson.")
    lesson = models.ForeignKey(
        RotationLesson,
        models.SET_NULL,
        null=True,
        blank=True,
        related_name="notes",
        help_text="The lesson of the plan of keys that it is about.",
    )
    text = models.TextField(blank=True)
    agreed = models.TextField(blank=True, help_text="What was agreed, one thing a line.")
    shared_at = models.DateTimeField(
        null=True, blank=True, help_text="Since when pupil and guardians read it; empty: never."
    )
    drills_set = models.ManyToManyField(
        "drills.Assignment", blank=True, related_name="agreed_in", help_text="What was agreed."
    )
    version = models.PositiveIntegerField(default=1, help_text="Raised by each change.")
    form_key = models.CharField(
        max_length=64, blank=True, help_text="Chosen by the page, so that one press makes one."
    )
    created_at = models.DateTimeField(default=timezone.now)
    edited_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-held_on", "-pk"]
        indexes = [models.Index(fields=["enrolment", "-held_on"], name="lesson_notes_of_a_place")]
        constraints = [
            models.UniqueConstraint(
                fields=["enrolment", "form_key"],
                condition=~Q(form_key=""),
                name="one_lesson_note_a_press",
            )
        ]

    def __str__(self) -> str:
        return f"{self.enrolment.pupil}, {self.held_on}"

    @property
    def is_shared(self) -> bool:
        return self.shared_at is not None

    @property
    def agreements(self) -> list[str]:
        """What was agreed, line by line, without empty lines."""
        return [line.strip(" -•") for line in self.agreed.splitlines() if line.strip(" -•")]

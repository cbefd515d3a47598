"""What was practised: minutes by day, perhaps of which drill, and how the hand felt.

How a hand felt is near to health, so as little of it is kept as is of use: one of four words, or
none, and a short text. The pupil, her guardians and, while consent holds, the teachers of that
studio read it; no letter, log or notice repeats it.
"""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from studio.accounts.models import Enrolment, Person
from studio.accounts.names import OneLineField

MOST_MINUTES = 240  # of one entry; chosen: more is a slip of the hand, or several entries
MOST_DAYS_BACK = 31  # chosen: what waited on a phone for its line still counts
LONGEST_WORD = 200  # letters


class PracticeEntry(models.Model):
    """Some minutes of one day. ``day`` is that of whoever practised, wherever that is."""

    class Hand(models.TextChoices):
        """How the hand felt; nobody has to say."""

        NOT_SAID = "", _("not said")
        EASY = "easy", _("easy")
        LITTLE_TIRED = "little_tired", _("a little tired")
        TIRED = "tired", _("tired")
        HURT = "hurt", _("it hurt")

    enrolment = models.ForeignKey(Enrolment, models.CASCADE, related_name="practice_entries")
    assignment = models.ForeignKey(
        "drills.Assignment",
        models.SET_NULL,
        null=True,
        blank=True,
        related_name="practice_entries",
        help_text="What was practised, where that is a drill that was set.",
    )
    day = models.DateField()
    minutes = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(MOST_MINUTES)]
    )
    unbroken_min = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1)],
        help_text="The longest stretch without a rest, in minutes; empty: not said.",
    )
    hand = models.CharField(max_length=16, choices=Hand, blank=True, default=Hand.NOT_SAID)
    word = OneLineField(max_length=LONGEST_WORD, blank=True)
    made_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    form_key = models.CharField(
        max_length=64, blank=True, help_text="Chosen by the page, so that one press notes it once."
    )
    noted_at = models.DateTimeField(default=timezone.now)
    goes_on = models.DateField(
        null=True, blank=True, help_text="When it goes by itself, as people were told."
    )

    class Meta:
        ordering = ["-day", "-pk"]
        verbose_name_plural = "practice entries"
        indexes = [models.Index(fields=["enrolment", "day"], name="practice_by_day")]
        constraints = [
            models.UniqueConstraint(
                fields=["made_by", "form_key"],
                condition=~Q(form_key=""),
                name="one_practice_entry_a_press",
            ),
            models.CheckConstraint(
                condition=Q(minutes__gte=1, minutes__lte=MOST_MINUTES), name="practice_minutes"
            ),
            models.CheckConstraint(
                condition=Q(unbroken_min=None)
                | Q(unbroken_min__gte=1, unbroken_min__lte=F("minutes")),
                name="practice_unbroken_within",
            ),
        ]

    def __str__(self) -> str:
        return f"practice of {self.enrolment}, {self.day}"

    @property
    def hurt(self) -> bool:
        return self.hand == self.Hand.HURT

"""Leave that was given, and its withdrawal."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from studio.translating import gettext_lazy

from .people import Person
from .retention import RetentionTerms
from .studios import Studio


class Consent(models.Model):
    """Leave given for one purpose, in one version of its words. A withdrawal wins at once.

    The rows are the record of who agreed and when, so none is changed but by its withdrawal, or
    once it rests because nobody is left who could withdraw it. What holds now, and who may decide:
    :mod:`studio.accounts.consent`.
    """

    class Purpose(models.TextChoices):
        RECORDINGS = "recordings", gettext_lazy("recordings of practice")

    pupil = models.ForeignKey(Person, models.CASCADE, related_name="consents")
    studio = models.ForeignKey(Studio, models.CASCADE, related_name="consents")
    purpose = models.CharField(max_length=32, choices=Purpose)
    version = models.PositiveIntegerField(default=1)
    given_by = models.ForeignKey(Person, models.PROTECT, related_name="consents_given")
    given_at = models.DateTimeField(default=timezone.now)
    withdrawn_by = models.ForeignKey(
        Person, models.PROTECT, null=True, blank=True, related_name="consents_withdrawn"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    rests_since = models.DateTimeField(
        null=True, blank=True, help_text="When the last one who could withdraw it was gone."
    )
    superseded_at = models.DateTimeField(
        null=True, blank=True, help_text="When it was agreed to anew, or new lessons began."
    )
    terms = models.ForeignKey(
        RetentionTerms,
        models.RESTRICT,
        null=True,
        blank=True,
        related_name="+",
        help_text="How long what is kept, as it was agreed to; empty: as the first words said.",
    )

    class Meta:
        ordering = ["given_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["pupil", "studio", "purpose", "version"],
                condition=Q(
                    withdrawn_at__isnull=True, rests_since__isnull=True, superseded_at__isnull=True
                ),
                name="one_standing_consent",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_purpose_display()}: {self.pupil}"

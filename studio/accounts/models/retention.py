"""How long a studio keeps each kind of thing."""

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.translating import gettext_lazy

from .people import Person
from .studios import Studio


class RetentionTerms(models.Model):
    """What a studio set, in days. Never changed: other times are a new row, and the newest holds.

    A consent names the row that was shown with it. Empty means: until it is erased. What the days
    are counted from, and how long what is kept of a pupil: :mod:`studio.accounts.retention`.
    """

    studio = models.ForeignKey(Studio, models.CASCADE, related_name="retention_terms")
    recordings_days = models.PositiveIntegerField(null=True, blank=True)
    figures_days = models.PositiveIntegerField(
        null=True, blank=True, help_text="0: as long as the recording."
    )
    drills_days = models.PositiveIntegerField(null=True, blank=True)
    after_end_days = models.PositiveIntegerField(null=True, blank=True)
    log_days = models.PositiveIntegerField(null=True, blank=True)
    set_by = models.ForeignKey(
        Person,
        models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        help_text="Nobody for a command.",
    )
    set_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["set_at", "pk"]
        verbose_name_plural = gettext_lazy("retention terms")

    def __str__(self) -> str:
        return _("times of %(studio)s, number %(self)s") % {"studio": self.studio, "self": self.pk}

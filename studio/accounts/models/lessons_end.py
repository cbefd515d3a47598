"""From which side the lessons of a place were ended."""

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.translating import gettext_lazy

from .studios import Enrolment


class LessonsEnd(models.Model):
    """From which side the lessons of a place were ended, and when.

    It goes when the end is taken back; the log keeps both. Which side it was says who may take it
    back: a studio never opens again what a family has closed.
    """

    class Side(models.TextChoices):
        STUDIO = "studio", gettext_lazy("the studio")
        FAMILY = "family", gettext_lazy("the family")

    place = models.OneToOneField(Enrolment, models.CASCADE, related_name="lessons_end")
    side = models.CharField(max_length=8, choices=Side)
    at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return _("ended by %(get_side_display)s") % {"get_side_display": self.get_side_display()}

"""Rounds of the blind audit: what a teacher was asked, and what she heard."""

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Person, Studio
from studio.clips.models import Clip
from studio.translating import gettext_lazy


class AuditRound(models.Model):
    """A teacher judges moments by ear, and is not told which of them the program had marked.

    Of five moments three are marks, and two are double stops of about the same length where no
    mark stands; at most 60 and 40 (:mod:`.audit.draw`). The order is random, by ``seed``. It counts
    once ``finished_at`` is set, and what was not answered by then has left the round.
    """

    studio = models.ForeignKey(Studio, models.CASCADE, related_name="audit_rounds")
    teacher = models.ForeignKey(Person, models.CASCADE, related_name="+")
    seed = models.BigIntegerField(help_text="The draw and its order follow from it.")
    started_at = models.DateTimeField(default=timezone.now)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-started_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["studio", "teacher"],
                condition=Q(finished_at=None),
                name="one_open_audit_a_teacher",
            )
        ]

    def __str__(self) -> str:
        return _("blind audit of %(started_at)s") % {
            "started_at": figures.long_date(timezone.localtime(self.started_at))
        }


class AuditMoment(models.Model):
    """One moment of a round, with what the program had said of it, and the teacher's answer.

    ``kind`` is a group of intervals (:mod:`.marks.interval_groups`). ``code`` and ``sentence`` are
    the mark's; empty where no mark stood. Deviation and uncertainty are as they were measured, in
    cents; none where they were not.
    """

    class Answer(models.TextChoices):
        IN_TUNE = "in_tune", gettext_lazy("in tune")
        OUT = "out", gettext_lazy("out of tune")
        CANNOT_TELL = "cannot_tell", gettext_lazy("cannot tell")

    round = models.ForeignKey(AuditRound, models.CASCADE, related_name="moments")
    position = models.PositiveSmallIntegerField(help_text="Its place in the round, from 1.")
    clip = models.ForeignKey(Clip, models.CASCADE, related_name="+")
    start_s = models.FloatField()
    end_s = models.FloatField()
    kind = models.CharField(max_length=16)
    generation = models.PositiveIntegerField(help_text="Of the engine that heard it.")
    code = models.CharField(max_length=40, blank=True)
    sentence = models.TextField(blank=True)
    deviation_cents = models.FloatField(null=True, blank=True)
    uncertainty_cents = models.FloatField(null=True, blank=True)
    answer = models.CharField(max_length=16, choices=Answer, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["round", "position"]
        constraints = [
            models.UniqueConstraint(
                fields=["round", "position"], name="one_audit_moment_a_position"
            )
        ]

    def __str__(self) -> str:
        return _("moment %(position)s of %(round)s") % {
            "position": self.position,
            "round": self.round,
        }

    @property
    def was_marked(self) -> bool:
        return bool(self.code)

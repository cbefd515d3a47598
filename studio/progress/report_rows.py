"""Term reports and their printed forms."""

import uuid

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Enrolment, Person
from studio.jobs.rows import Leased
from studio.translating import gettext_lazy

LONGEST_WORDS = 6000  # letters: chosen, about two pages
MOST_PICTURES = 3


class TermReport(models.Model):
    """What a teacher says of a period: a draft until it is given out, then frozen.

    ``pictures`` are the names of answers (:attr:`studio.progress.subjects.Subject.name`), at most
    ``MOST_PICTURES``. ``frozen`` is empty before ``given_at``; from then on it holds all that is
    shown, as figures (:mod:`studio.progress.reports.contents`), so that each reads it in her own
    language, and names nobody.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    enrolment = models.ForeignKey(Enrolment, models.CASCADE, related_name="term_reports")
    written_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    since = models.DateField()
    until = models.DateField(help_text="The last day of the period.")
    words = models.TextField(blank=True, max_length=LONGEST_WORDS)
    comes_next = models.TextField(blank=True, max_length=LONGEST_WORDS)
    pictures = models.JSONField(default=list, blank=True)
    frozen = models.JSONField(default=dict, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    given_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-until", "-created_at"]

    def __str__(self) -> str:
        return _("report of %(pupil)s, %(since)s to %(until)s") % {
            "pupil": self.enrolment.pupil,
            "since": self.since,
            "until": self.until,
        }

    @property
    def period(self) -> str:
        """Its days, in the language that holds now."""
        days = {name: figures.long_date(getattr(self, name)) for name in ("since", "until")}
        return _("%(since)s to %(until)s") % days


class ReportPrint(Leased):
    """A report as a PDF in one language: waiting → working → printed | failed | parked (ours).

    The file lies in the row: it is small, and goes with the report wherever that goes.
    """

    class State(models.TextChoices):
        WAITING = "waiting", gettext_lazy("waiting")
        WORKING = "working", gettext_lazy("working")
        PRINTED = "printed", gettext_lazy("printed")
        FAILED = "failed", gettext_lazy("failed")
        PARKED = "parked", gettext_lazy("parked")

    done_state = State.PRINTED

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    report = models.ForeignKey(TermReport, models.CASCADE, related_name="prints")
    language = models.CharField(max_length=16)
    state = models.CharField(max_length=16, choices=State, default=State.WAITING)
    content = models.BinaryField(default=bytes)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["report", "language"], name="one_print_a_language")
        ]

    def __str__(self) -> str:
        return _("print of %(report_id)s in %(language)s") % {
            "report_id": self.report_id,
            "language": self.language,
        }

    @property
    def is_moving(self) -> bool:
        return self.state in (self.State.WAITING, self.State.WORKING)

"""One file of music on its way to the shelf."""

import uuid
from datetime import timedelta

from django.db import models
from django.utils import timezone

from studio.accounts.models import Person, Studio
from studio.accounts.names import OneLineField
from studio.jobs.rows import Leased
from studio.translating import gettext_lazy


class ScoreReading(Leased):
    """A file that is being read: waiting → working → read | failed (no music) | parked (ours).

    ``result``, once read: ``score`` (``Score.to_dict``), what a drill says by itself (``title``,
    ``key``, ``instrument``, ``level``, ``incipit``), ``remarks`` (sentences), ``parts`` (id and
    name of each) and the ``part`` that was read, and ``sheet`` (the first leaf, engraved); so that
    no page has to go through the score. ``failure_params`` of a failed one holds its ``sentence``.
    """

    LIFETIME = timedelta(days=1)

    class State(models.TextChoices):
        WAITING = "waiting", gettext_lazy("waiting")
        WORKING = "working", gettext_lazy("working")
        READ = "read", gettext_lazy("read")
        FAILED = "failed", gettext_lazy("failed")
        PARKED = "parked", gettext_lazy("parked")

    done_state = State.READ

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    studio = models.ForeignKey(Studio, models.CASCADE, related_name="+")
    person = models.ForeignKey(Person, models.CASCADE, related_name="+")
    filename = OneLineField(max_length=200)
    instrument = models.CharField(max_length=16, blank=True, help_text="Empty: as the file says.")
    part = OneLineField(
        max_length=64, blank=True, help_text=gettext_lazy("Its id; empty: the likeliest.")
    )
    content = models.BinaryField(help_text="The file as it came, at most 5 MB.")
    state = models.CharField(max_length=16, choices=State, default=State.WAITING)
    result = models.JSONField(default=dict, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"{self.filename} of {self.person}"

    @property
    def moving(self) -> bool:
        return self.state in (self.State.WAITING, self.State.WORKING)

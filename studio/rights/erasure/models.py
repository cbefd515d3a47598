"""What somebody asked to be erased, as work for a worker."""

import uuid

from django.db import models
from django.utils import timezone

from studio.accounts.models import Person
from studio.jobs.rows import Leased
from studio.translating import gettext_lazy


class ErasureJob(Leased):
    """One erasure: waiting → working → erased | parked (ours). It names nobody.

    ``whose`` and ``studio_number`` find it while there is something to erase; at the end the
    row keeps what was erased by its kind alone, and goes after :data:`KEPT`.
    """

    class Kind(models.TextChoices):
        CLIP = "clip", gettext_lazy("one clip")
        LESSONS = "lessons", gettext_lazy("all about a pupil’s lessons")
        ACCOUNT = "account", gettext_lazy("an account and all about it")
        OVER = "over", gettext_lazy("what had been kept for its time")

    class State(models.TextChoices):
        WAITING = "waiting", gettext_lazy("waiting")
        WORKING = "working", gettext_lazy("working")
        ERASED = "erased", gettext_lazy("erased")
        FAILED = "failed", gettext_lazy("failed")
        PARKED = "parked", gettext_lazy("parked")

    done_state = State.ERASED

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=16, choices=Kind)
    state = models.CharField(max_length=16, choices=State, default=State.WAITING)
    asked_by = models.ForeignKey(
        Person, models.SET_NULL, null=True, blank=True, related_name="erasures_asked"
    )
    asked_at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True, blank=True)
    whose = models.UUIDField(
        null=True, blank=True, help_text="The erasure_id of whose it is; empty at the end."
    )
    studio_number = models.BigIntegerField(null=True, blank=True)
    with_account = models.BooleanField(
        default=False, help_text="The account goes too: nothing else is left of it."
    )
    clips = models.JSONField(default=list, blank=True, help_text="Ids, until all of them are gone.")
    uploads = models.JSONField(default=list, blank=True)
    recordings = models.JSONField(
        default=list, blank=True, help_text="Ids of clips of which the recording alone goes."
    )
    drills = models.JSONField(default=list, blank=True, help_text="Numbers of assignments.")
    letter_to = models.EmailField(
        blank=True, help_text="Who is told of the end, until that letter is written."
    )

    class Meta:
        ordering = ["asked_at", "pk"]

    def __str__(self) -> str:
        return f"erasure {self.pk}: {self.get_kind_display()}"

    @property
    def moving(self) -> bool:
        return self.state in (self.State.WAITING, self.State.WORKING)

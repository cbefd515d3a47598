"""Copies that people asked for."""

import uuid
from datetime import datetime, timedelta

from django.db import models
from django.db.models import Q
from django.utils import timezone

from studio.accounts.models import Person, Studio
from studio.jobs.rows import Leased
from studio.translating import gettext_lazy


class Copy(Leased):
    """One file with all that is kept of a person: of her lessons in a studio, or her account.

        waiting → working → ready | failed | parked

    ``asked_by`` alone gets it, for :data:`KEPT`; then row and file go. While it is made, ``doing``
    says what is being put in. The file lies in the store, at ``path``, once it is ready.
    """

    KEPT = timedelta(days=1)

    class State(models.TextChoices):
        WAITING = "waiting", gettext_lazy("waiting")
        WORKING = "working", gettext_lazy("working")
        READY = "ready", gettext_lazy("ready")
        FAILED = "failed", gettext_lazy("failed")
        PARKED = "parked", gettext_lazy("parked")

    done_state = State.READY

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    asked_by = models.ForeignKey(Person, models.CASCADE, related_name="copies")
    about = models.ForeignKey(
        Person, models.CASCADE, related_name="+", help_text="Of whom it is a copy."
    )
    studio = models.ForeignKey(
        Studio, models.CASCADE, null=True, blank=True, related_name="+", help_text="Of the lessons."
    )
    state = models.CharField(max_length=16, choices=State, default=State.WAITING)
    doing = models.CharField(max_length=80, blank=True)
    path = models.CharField(max_length=200, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    size_bytes = models.PositiveBigIntegerField(default=0)
    created_at = models.DateTimeField(default=timezone.now)
    ready_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "copies"
        constraints = [
            models.UniqueConstraint(
                fields=["asked_by", "about", "studio"],
                condition=Q(studio__isnull=False),
                name="one_copy_of_lessons",
            ),
            models.UniqueConstraint(
                fields=["asked_by"],
                condition=Q(studio__isnull=True),
                name="one_copy_of_an_account",
            ),
        ]
        indexes = [models.Index(fields=["state", "lease_until"], name="copy_sweep")]

    def __str__(self) -> str:
        return f"copy {self.pk}: {self.get_state_display()}"

    @property
    def is_moving(self) -> bool:
        return self.state in (self.State.WAITING, self.State.WORKING)

    @property
    def goes_at(self) -> datetime | None:
        """When a copy that is ready goes by itself."""
        return self.ready_at + self.KEPT if self.ready_at else None

"""A row that stands for long work."""

from datetime import timedelta

from django.apps import apps
from django.db import models
from django.utils import timezone


class Leased(models.Model):
    """Long work on something, done by one worker at a time (:mod:`.leases`)::

        waiting → working → done (``done_state``) | failed | parked

    ``failed``: what was worked on was judged, and cannot be used. ``parked``: we could not do it,
    and keep it for whoever looks after the server. ``attempt`` counts the times that the work came
    to an end, the present one included; ``worker_deaths`` those at which the worker itself died,
    which say nothing of the work.
    """

    WAITING, WORKING, FAILED, PARKED = "waiting", "working", "failed", "parked"

    attempt = models.PositiveIntegerField(default=0)
    worker_deaths = models.PositiveIntegerField(
        default=0, help_text="Times that the worker died at it, since it was last begun anew."
    )
    lease_token = models.CharField(max_length=32, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    dispatched_at = models.DateTimeField(null=True, blank=True)
    changed_at = models.DateTimeField(default=timezone.now)
    progress = models.FloatField(default=0.0, help_text="0 to 1 while working.")
    failure_code = models.CharField(max_length=40, blank=True)
    failure_params = models.JSONField(default=dict, blank=True)
    failure_detail = models.TextField(blank=True, help_text="For the operator; never shown.")

    class Meta:
        abstract = True

    def begin_again(self) -> None:
        """Let it be worked on anew, though it was done or has failed; the sweep sends it out."""
        type(self)._default_manager.filter(pk=self.pk).exclude(state=self.WORKING).update(
            state=self.WAITING,
            attempt=0,
            lease_token="",
            lease_until=None,
            dispatched_at=None,
            changed_at=timezone.now() - timedelta(hours=1),
            failure_code="",
            failure_params={},
            failure_detail="",
        )


def leased_models() -> list[type[Leased]]:
    """Every kind of row with a lease."""
    return [model for model in apps.get_models() if issubclass(model, Leased)]

"""Erasures on the queue, and those that were lost there."""

import logging
from datetime import timedelta
from uuid import UUID

from django.utils import timezone

from studio.jobs import leases
from studio.jobs.queue import send

from .models import ErasureJob

log = logging.getLogger(__name__)

# Whichever worker is free first: none of it waits behind recordings.
TASK, QUEUE = "studio.rights.tasks.erase", "sweep"
KEPT = timedelta(days=30)  # after its end, for whoever asked to read


def dispatch(pk: UUID) -> bool:
    """Put one on the queue; says whether the broker took it."""
    return send(TASK, QUEUE, {"erasure_id": str(pk)}, ErasureJob.objects.filter(pk=pk))


def claim(pk: str) -> ErasureJob | None:
    """Take one for work, or ``None`` when there is nothing to take."""
    return leases.take(ErasureJob.objects.filter(pk=pk))


def send_lost() -> None:
    """Send again what was lost; park what workers died at without end; forget what is long over."""
    if parked := leases.park_exhausted(ErasureJob):
        log.error("%d erasures are parked: workers died at them again and again", parked)
    for job in leases.lost_among(ErasureJob.objects.all()):
        log.warning("sending erasure %s again (was %s)", job.pk, job.state)
        dispatch(job.pk)
    over = ErasureJob.objects.filter(state=ErasureJob.State.ERASED)
    over.filter(ended_at__lt=timezone.now() - KEPT).delete()

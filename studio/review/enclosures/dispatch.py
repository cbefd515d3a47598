"""Enclosures on the queue, and those that were lost there."""

import logging
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from studio.clips.models import Clip
from studio.jobs import leases
from studio.jobs.queue import send
from studio.review.models import Enclosure

log = logging.getLogger(__name__)

TASK, QUEUE = "studio.review.tasks.prepare_enclosure", "pictures"
WITH_CLIP = "comment__review__clip"


def dispatch(pk: UUID) -> bool:
    """Put one on the queue; says whether the broker took it."""
    return send(TASK, QUEUE, {"enclosure_id": str(pk)}, Enclosure.objects.filter(pk=pk))


def claim(pk: str) -> Enclosure | None:
    """Take one for work, or ``None`` when there is nothing to take."""
    return leases.take(_workable().filter(pk=pk), WITH_CLIP)


def send_lost() -> None:
    """Send again what was lost; park what workers died at without end."""
    if parked := leases.park_exhausted(Enclosure):
        log.error("%d enclosures are parked: workers died at them again and again", parked)
    for enclosure in leases.lost_among(_workable()):
        log.warning("sending enclosure %s again (was %s)", enclosure.pk, enclosure.state)
        dispatch(enclosure.pk)


def _workable() -> QuerySet[Enclosure]:
    clip = Clip.objects.filter(review__comments__enclosures=OuterRef("pk"), erased_at=None)
    return Enclosure.objects.filter(Exists(clip))

"""Putting a clip's id on the queue. A failure here is no loss: the sweep sends it again."""

import logging
from uuid import UUID

from django.db.models.functions import Now
from kombu.exceptions import OperationalError

from studio.celery import app

from .models import Stage

log = logging.getLogger(__name__)

#: The message's version: a worker parks what it does not know.
MESSAGE_VERSION = 1
TASKS = {
    Stage.Kind.LISTENING: ("studio.clips.tasks.listen_to_clip", "listening"),
    Stage.Kind.PLAYBACK: ("studio.clips.tasks.prepare_playback", "pictures"),
}


def dispatch(clip_id: UUID, kind: str) -> bool:
    """Send one stage's work to its queue; says whether the broker took it."""
    task, queue = TASKS[Stage.Kind(kind)]
    try:
        app.send_task(
            task, kwargs={"clip_id": str(clip_id), "version": MESSAGE_VERSION}, queue=queue
        )
    except (OperationalError, OSError) as error:
        log.warning("the queue did not take %s of %s (%s); the sweep will", kind, clip_id, error)
        return False
    Stage.objects.filter(clip_id=clip_id, kind=kind).update(dispatched_at=Now())
    return True

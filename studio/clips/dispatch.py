"""Putting a clip's id on the queue. A failure here is no loss: the sweep sends it again."""

import logging
from uuid import UUID

from django.db.models import QuerySet
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
    Stage.Kind.SMALL: ("studio.clips.tasks.prepare_small", "pictures"),
}


def dispatch(clip_id: UUID, kind: str) -> bool:
    """Send one stage's work to its queue; says whether the broker took it."""
    task, queue = TASKS[Stage.Kind(kind)]
    rows = Stage.objects.filter(clip_id=clip_id, kind=kind)
    return send(task, queue, {"clip_id": str(clip_id)}, rows)


def send(task: str, queue: str, said: dict, rows: QuerySet) -> bool:
    """Send a task with what it is about, and note on its row that it was sent."""
    try:
        app.send_task(task, kwargs={**said, "version": MESSAGE_VERSION}, queue=queue)
    except (OperationalError, OSError) as error:
        log.warning("the queue did not take %s of %s (%s); the sweep will", task, said, error)
        return False
    rows.update(dispatched_at=Now())
    return True

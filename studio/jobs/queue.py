"""Putting a row's id on the queue. A failure here is no loss: the sweep sends it again."""

import logging

from django.db.models import QuerySet
from django.db.models.functions import Now
from kombu.exceptions import OperationalError

from studio.celery import app

log = logging.getLogger(__name__)

#: The message's version: a worker parks what it does not know.
MESSAGE_VERSION = 1


def send(task: str, queue: str, said: dict, rows: QuerySet) -> bool:
    """Send a task with what it is about, and note on its row that it was sent.

    Says whether the broker took it.
    """
    try:
        app.send_task(task, kwargs={**said, "version": MESSAGE_VERSION}, queue=queue)
    except (OperationalError, OSError) as error:
        log.warning("the queue did not take %s of %s (%s); the sweep will", task, said, error)
        return False
    rows.update(dispatched_at=Now())
    return True

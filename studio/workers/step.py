"""The part of a Celery worker that leaves its signs of life.

It begins when the worker has its queue and ends when that is lost, so that a worker which cannot
take work does not look alive. A thread of its own: a database that is away must not hold up the
taking of messages.
"""

import logging
import threading

from celery import bootsteps

log = logging.getLogger(__name__)


class LeavesSigns(bootsteps.StartStopStep):
    """Begins with the consumer; see the module."""

    requires = ("celery.worker.consumer.tasks:Tasks",)

    def __init__(self, consumer, **kwargs) -> None:
        super().__init__(consumer, **kwargs)
        self._stop: threading.Event | None = None

    def start(self, consumer) -> None:
        self._stop = threading.Event()
        queues = list(consumer.app.amqp.queues.consume_from)
        thread = threading.Thread(
            target=leave_signs, args=(consumer.hostname, queues, self._stop), daemon=True
        )
        thread.start()

    def stop(self, consumer) -> None:
        if self._stop is not None:
            self._stop.set()
            self._stop = None


def leave_signs(name: str, queues: list[str], stop: threading.Event) -> None:
    """Leave a sign every few seconds until told to stop."""
    from . import signs

    known = False
    while True:
        known = _leave(name, queues, known)
        if stop.wait(signs.EVERY_S):
            return


def _leave(name: str, queues: list[str], known: bool) -> bool:
    from django.db import DatabaseError, InterfaceError, connection

    from . import signs

    try:
        if not known or not signs.leave(name):
            signs.begin(name, queues)
        return True
    except (DatabaseError, InterfaceError) as error:  # away for a moment: the next sign will do
        log.debug("no sign of life could be left (%s)", type(error).__name__)
        return known
    finally:
        # The pool's processes are forked from this one: none may inherit an open connection.
        connection.close()

"""End a worker that would never ask for another message, so that it is started again.

A worker has one message in hand and takes the next when that one is acknowledged. When the queue
is away in just that moment, Celery writes "Couldn't ack" to its log and goes on; the message
then counts as one in hand for ever, and the worker sits idle beside a full queue. Seen with
Celery 5.7 and Redis killed while a clip was worked on.
"""

import logging
import os

from celery import bootsteps
from celery.worker import state

LOOK_S = 3.0

log = logging.getLogger(__name__)


class EndWhenStuck(bootsteps.StartStopStep):
    """Looks at the worker now and then: full hands and no work, twice in a row, is the end."""

    requires = ("celery.worker.consumer.tasks:Tasks",)

    def __init__(self, consumer, **kwargs) -> None:
        super().__init__(consumer, **kwargs)
        self._looks = None
        self._was_stuck = False

    def start(self, consumer) -> None:
        self._looks = consumer.timer.call_repeatedly(LOOK_S, self.look, (consumer,))

    def stop(self, consumer) -> None:
        if self._looks is not None:
            self._looks.cancel()
            self._looks = None

    def look(self, consumer) -> None:
        stuck = is_stuck(consumer)
        if stuck and self._was_stuck:
            log.error("a message could not be acknowledged; the worker ends, to be started again")
            state.should_stop = os.EX_TEMPFAIL
        self._was_stuck = stuck


def is_stuck(consumer) -> bool:
    """Whether it may take no more messages though it works on none."""
    if consumer.task_consumer is None or state.reserved_requests or state.active_requests:
        return False
    return not consumer.task_consumer.channel.qos.can_consume()

"""The queue's application. The row in the database is the truth; the queue carries an id."""

import logging
import os
import time
import warnings
from contextlib import ExitStack

from celery import Celery
from celery.platforms import SecurityWarning
from celery.signals import (
    beat_init,
    celeryd_after_setup,
    setup_logging,
    task_postrun,
    task_prerun,
    worker_process_init,
    worker_shutting_down,
)

from studio import log_lines, starting
from studio.consuming import EndWhenStuck
from studio.processes import die_with_parent
from studio.workers.step import LeavesSigns

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")

app = Celery("studio")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
app.steps["consumer"].add(EndWhenStuck)
app.steps["consumer"].add(LeavesSigns)
# Celery warns root of pickled messages; this queue takes JSON alone.
warnings.filterwarnings("ignore", category=SecurityWarning)

log = logging.getLogger(__name__)
_main_process = os.getpid()


@setup_logging.connect
def leave_the_log_alone(**kwargs) -> None:
    """With a receiver here, Celery keeps to the LOGGING of the settings."""


@celeryd_after_setup.connect
def begin_worker(sender: str, **kwargs) -> None:
    """``sender`` is the worker's name, such as listening@here."""
    starting.begin(sender.partition("@")[0])


@beat_init.connect
def begin_periodic(**kwargs) -> None:
    starting.begin("periodic")


@celeryd_after_setup.connect
def warm_up(sender: str, instance, **kwargs) -> None:
    """Compile what listening compiles before the first clip waits for it.

    The pool's processes are forked after this, and inherit it.
    """
    if "listening" in instance.app.amqp.queues.consume_from:
        begun = time.monotonic()
        _listen_once()
        log.info("ready to listen after %.1f s", time.monotonic() - begun)


def _listen_once() -> None:
    """Listen to two seconds of a fifth, D4 and A4, with a few partials each."""
    import numpy as np

    from studio.intonation import Options, listen

    sr = 44_100
    t = np.arange(2 * sr) / sr
    y = sum(np.sin(2 * np.pi * k * f0 * t) / k for f0 in (293.66, 440.0) for k in (1, 2, 3, 4, 5))
    listen(0.1 * y, sr, Options())


_named = ExitStack()  # of the one task that this process works on


@task_prerun.connect
def name_the_job(task_id: str, kwargs: dict, **more) -> None:
    """Lines of the log that a task writes name the task, and its clip."""
    clip = kwargs.get("clip_id") if isinstance(kwargs, dict) else ""
    _named.close()
    _named.enter_context(log_lines.about(job=task_id, clip=str(clip or "")))


@task_postrun.connect
def name_no_job(**more) -> None:
    _named.close()


@worker_process_init.connect
def die_with_worker(**kwargs) -> None:
    """A pool process must not go on listening when its worker was killed."""
    die_with_parent(_main_process)


@worker_shutting_down.connect
def finish_or_hand_back(**kwargs) -> None:
    """A pool process that is at work goes on for a short time; then it hands its work back."""
    from studio.jobs import shutdown

    shutdown.tell_pool_later(_main_process)

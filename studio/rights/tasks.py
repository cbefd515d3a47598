"""Celery tasks: thin."""

from celery import shared_task

from studio.jobs import dead_letters, runner
from studio.jobs.queue import MESSAGE_VERSION

from .copies import services as copies
from .copies import work as copying
from .erasure import dispatch as erasures
from .erasure import work
from .retention import rounds


@shared_task(bind=True)
def erase(task, erasure_id="", version=MESSAGE_VERSION, **more) -> None:
    """Take off the disk what somebody asked to be erased."""
    if dead_letters.understood(task.name, {"erasure_id": erasure_id}, version, more):
        runner.take(
            f"erasure {erasure_id}",
            lambda: erasures.claim(erasure_id),
            work.erase,
            lambda: erasures.dispatch(erasure_id),
        )


@shared_task(bind=True)
def make_copy(task, copy_id="", version=MESSAGE_VERSION, **more) -> None:
    """Make a copy of what is kept of a person."""
    if dead_letters.understood(task.name, {"copy_id": copy_id}, version, more):
        runner.take(
            f"copy {copy_id}",
            lambda: copies.claim(copy_id),
            copying.make_by_worker,
            lambda: copies.dispatch(copy_id),
        )


@shared_task
def keep_times() -> None:
    """Tell of what goes soon, and let go what has come to its day."""
    rounds.go_round()

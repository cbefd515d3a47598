"""Celery tasks of the drills: thin."""

from celery import shared_task

from studio.jobs import dead_letters, runner
from studio.jobs.queue import MESSAGE_VERSION

from .reading import services, work


@shared_task(bind=True)
def read_score(task, reading_id="", version=MESSAGE_VERSION, **more) -> None:
    """Read a page of music that a teacher brought."""
    if dead_letters.understood(task.name, {"reading_id": reading_id}, version, more):
        runner.take(
            f"score {reading_id}",
            lambda: services.claim(reading_id),
            work.read,
            lambda: services.dispatch(reading_id),
        )

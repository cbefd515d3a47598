"""Celery tasks of the drills: thin."""

from celery import shared_task

from studio.leases import parking, working
from studio.leases.queue import MESSAGE_VERSION

from .reading import services, work


@shared_task(bind=True)
def read_score(task, reading_id="", version=MESSAGE_VERSION, **more) -> None:
    """Read a page of music that a teacher brought."""
    if parking.understood(task.name, {"reading_id": reading_id}, version, more):
        working.take(
            f"score {reading_id}",
            lambda: services.claim(reading_id),
            work.read,
            lambda: services.dispatch(reading_id),
        )

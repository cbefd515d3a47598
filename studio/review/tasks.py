"""Celery tasks of the review: thin."""

from celery import shared_task

from studio.drills import setting_told
from studio.jobs import dead_letters, runner
from studio.jobs.queue import MESSAGE_VERSION

from .enclosures import dispatch, renditions
from .returning import notifications


@shared_task(bind=True)
def prepare_enclosure(task, enclosure_id="", version=MESSAGE_VERSION, **more) -> None:
    """Make what is played or shown of an enclosure."""
    if dead_letters.understood(task.name, {"enclosure_id": enclosure_id}, version, more):
        runner.take(
            f"enclosure {enclosure_id}",
            lambda: dispatch.claim(enclosure_id),
            renditions.prepare,
            lambda: dispatch.dispatch(enclosure_id),
        )


@shared_task
def tell_answers() -> None:
    """Tell pupils and guardians of the answers and drills that they can see by now."""
    notifications.tell_due()
    setting_told.tell_due()

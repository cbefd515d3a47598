"""Celery tasks of progress: thin."""

from celery import shared_task

from studio.jobs import dead_letters, runner
from studio.jobs.queue import MESSAGE_VERSION

from .reports.printing import services, work


@shared_task(bind=True)
def print_report(task, print_id="", version=MESSAGE_VERSION, **more) -> None:
    """Print a term report as a PDF."""
    if dead_letters.understood(task.name, {"print_id": print_id}, version, more):
        runner.take(
            f"print {print_id}",
            lambda: services.claim(print_id),
            work.lay_out,
            lambda: services.dispatch(print_id),
        )

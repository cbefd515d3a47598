"""Celery tasks: thin."""

from celery import shared_task

from . import letters


@shared_task
def send_letters() -> None:
    """Send the letters that wait."""
    letters.send_due()

"""Celery tasks: thin."""

from celery import shared_task

from . import cleaning, letters


@shared_task
def send_letters() -> None:
    """Send the letters that wait."""
    letters.send_due()


@shared_task
def end_old_sessions() -> None:
    """Remove the sessions that have run out, with what waited in them, and what else is old."""
    cleaning.clean()

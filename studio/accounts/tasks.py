"""Celery tasks: thin."""

from celery import shared_task

from . import cleaning, letters
from .notifications import consent_needed, digest


@shared_task
def send_letters() -> None:
    """Write the letters that are due, and send those that wait."""
    digest.write_due()
    letters.send_due()


@shared_task
def end_old_sessions() -> None:
    """Remove the sessions that have run out, with what waited in them, and what else is old."""
    cleaning.clean()
    consent_needed.tell_due()

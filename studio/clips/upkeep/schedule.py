"""When a backup and a drill are due. The rows of those before are what is known of them."""

from datetime import datetime, timedelta

from django.conf import settings
from django.utils import timezone

from . import runs

HOUR = 3  # of the night, in the studio's time zone
DRILL_EVERY = timedelta(days=7)
TRIED_AGAIN = timedelta(hours=6)  # after one that failed


def due(now: datetime | None = None) -> list[str]:
    """The commands to run now, in their order."""
    now = now or timezone.localtime()
    if not settings.BACKUP_FOLDER:
        return []
    return [
        name
        for name, is_due in (("backup", _backup_is_due(now)), ("drill", _drill_is_due(now)))
        if is_due
    ]


def _backup_is_due(now: datetime) -> bool:
    last = runs.last_backup()
    if last is None:
        return True
    if not last.figures:  # it could not be finished
        return last.started_at < now - TRIED_AGAIN
    tonight = now.replace(hour=HOUR, minute=0, second=0, microsecond=0)
    since = tonight if now >= tonight else tonight - timedelta(days=1)
    return last.started_at < since


def _drill_is_due(now: datetime) -> bool:
    last = runs.last_drill()
    if last is None:
        return True
    return last.started_at < now - (DRILL_EVERY if last.is_whole else 4 * TRIED_AGAIN)

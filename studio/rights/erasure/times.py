"""By when what was erased is gone: from the disk, and from the backups."""

from django.conf import settings
from django.utils.translation import gettext as _

from studio import figures

from .models import ErasureJob

ON_DISK_HOURS = 24  # what is promised; a worker does it within minutes
DAYS_A_MONTH = 31


def rows_in_backups_days() -> int:
    """For so many days at most a backup keeps what rows said: as long as the oldest one stays."""
    days, weeks, months = settings.BACKUP_KEEP
    return max(days, 7 * (weeks + 1) if weeks else 0, DAYS_A_MONTH * (months + 1) if months else 0)


def in_backups(kind: str) -> str:
    """When it leaves the backups, in a sentence or two."""
    if not settings.BACKUP_FOLDER:
        return _(
            "This program makes no backups here. Whoever looks after the server can say whether "
            "others are made, and how long they are kept."
        )
    said = rows_in_backups_days()
    recordings = min(settings.BACKUP_ERASED_DAYS + 1, said)
    of = _("The recording leaves") if kind == ErasureJob.Kind.CLIP else _("Recordings leave")
    return _(
        "%(of)s the backups within %(recordings)s, and what was written within "
        "%(said)s; a backup that is put back meanwhile is cleared of it at once."
    ) % {
        "of": of,
        "recordings": figures.count(recordings, "day", "days"),
        "said": figures.count(said, "day", "days"),
    }

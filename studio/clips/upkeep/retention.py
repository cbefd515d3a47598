"""Which backups are kept, and when what was erased leaves those that have it.

Of each of the last days, weeks and months that have a backup, the newest one is kept
(``BACKUP_KEEP``), and all that are less than a day older than the newest. A recording that was
erased leaves every backup ``BACKUP_ERASED_DAYS`` after that; what rows said of it goes with the
last backup that has it.
"""

import shutil
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import UUID

from studio.clips.storage import erasure_log, spool

from . import objects
from .manifests import MANIFEST, Backup, backups_in, write_manifest

OF_CLIPS = (erasure_log.CLIPS, erasure_log.RECORDINGS)
DAY_S = 24 * 3600.0
ALL_STAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Keep:
    """How many of the last days, weeks and months that have a backup keep one."""

    days: int
    weeks: int
    months: int


def kept(moments: Sequence[datetime], keep: Keep) -> set[datetime]:
    """Those of ``moments`` (in UTC) whose backups stay."""
    newest_of_all = max(moments, default=None)
    stay = {at for at in moments if newest_of_all and newest_of_all - at < ALL_STAY}
    for number, period in (
        (keep.days, lambda at: at.date()),
        (keep.weeks, lambda at: at.isocalendar()[:2]),
        (keep.months, lambda at: (at.year, at.month)),
    ):
        newest: dict = {}
        for at in sorted(moments):
            newest[period(at)] = at
        stay |= set(sorted(newest.values())[len(newest) - number :] if number else [])
    return stay


def prune(place: Path, keep: Keep, erased_days: int) -> int:
    """Remove backups that are no longer kept, then what nothing names; how many backups went.

    Only while no backup is being made in ``place``.
    """
    found = backups_in(place)
    stay = kept([_moment(backup) for backup in found], keep)
    gone = [backup for backup in found if _moment(backup) not in stay]
    for backup in gone:
        (backup.folder / MANIFEST).unlink()  # from here on it is none
        shutil.rmtree(backup.folder)
    left = backups_in(place)
    doomed = _erased_long_ago(place, erased_days)
    for backup in left:
        _drop_erased(backup, doomed)
    named = [backup.objects().path(one.sha256) for backup in left for one in backup.kept().values()]
    if len(left) == len(list(place.glob(f"*/{MANIFEST}"))):  # else one cannot be read just now
        objects.remove_unnamed(place, named)
    return len(gone)


def note_erasures(place: Path) -> None:
    """Keep what was erased beside the backups too, so that none of them brings it back."""
    for kind in erasure_log.KINDS:
        erasure_log.copy(erasure_log.folder(kind), place / kind)


def _moment(backup: Backup) -> datetime:
    return datetime.fromisoformat(backup.made_at).astimezone(UTC)


def _erased_long_ago(place: Path, days: int) -> tuple[str, ...]:
    """The folders of clips that were erased, or whose recording was, more than ``days`` ago."""
    before = time.time() - days * DAY_S
    lists = [place / kind for kind in OF_CLIPS if (place / kind).is_dir()]
    noted = [path for each in lists for path in each.iterdir()]
    old = [path.name for path in noted if path.stat().st_mtime < before]
    clips = [UUID(hex=name) for name in old if len(name) == 32]
    return tuple(f"{spool.clip_folder(clip)}/" for clip in clips)


def _drop_erased(backup: Backup, doomed: tuple[str, ...]) -> None:
    stay = [one for one in backup.manifest["files"] if not one["path"].startswith(doomed)]
    if doomed and len(stay) < len(backup.manifest["files"]):
        backup.manifest["files"] = stay
        write_manifest(backup.folder, backup.manifest)

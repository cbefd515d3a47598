"""Backups and drills as rows: when the next is due, how one went, and who is told when it fails."""

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError
from django.utils import timezone

from studio import figures
from studio.accounts import letters
from studio.clips.models import UpkeepRun

from . import backup, restore_drill
from .manifests import BackupError

log = logging.getLogger(__name__)


KEPT = timedelta(days=400)


Kind = UpkeepRun.Kind


@dataclass(slots=True)
class _Outcome:
    said: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    figures: dict = field(default_factory=dict)


def last_backup() -> UpkeepRun | None:
    """The newest backup that was tried, whole or not; None before the first."""
    return UpkeepRun.objects.filter(kind=Kind.BACKUP).first()


def last_drill() -> UpkeepRun | None:
    """The newest drill that was tried, whole or not; None before the first."""
    return UpkeepRun.objects.filter(kind=Kind.DRILL).first()


def back_up(place: Path) -> backup.Finished:
    """As :func:`.backup.back_up`; leaves a row, and tells the operator of what is wrong.

    Raises
    ------
    BackupError
        When it could not be finished.
    """
    with _recorded(Kind.BACKUP) as outcome:
        finished = backup.back_up(place)
        outcome.faults += finished.faults
        outcome.said.append(f"{len(finished.manifest['files'])} files, in {finished.folder}.")
        outcome.figures |= {
            "files": len(finished.manifest["files"]),
            "added_bytes": finished.added_bytes,
            "pruned": finished.pruned,
            "is_encrypted": bool(finished.manifest["key"]),
        }
    return finished


def make_drill(place: Path, identity: Path | None, passphrase: str = "") -> restore_drill.Report:
    """As :func:`.restore_drill.drill`; leaves a row, and tells the operator of what is wrong.

    Raises
    ------
    BackupError
        When there is no backup, or it cannot be opened.
    """
    with _recorded(Kind.DRILL) as outcome:
        report = restore_drill.drill(place, identity, passphrase)
        outcome.faults += report.faults
        outcome.said += report.said
        outcome.figures |= report.figures
    return report


@contextmanager
def _recorded(kind: Kind) -> Iterator[_Outcome]:
    outcome, started_at = _Outcome(), timezone.now()
    try:
        yield outcome
    except BackupError as error:
        outcome.faults.append(str(error))
        raise
    except Exception as error:
        outcome.faults.append(f"{type(error).__name__}: {error}")
        raise
    finally:
        _robustly(lambda: _record(kind, started_at, outcome))


def _robustly(write: Callable[[], None]) -> None:
    """A database that cannot be written to must not hide what was wrong with the backup."""
    try:
        write()
    except DatabaseError as error:
        log.error("the outcome was not recorded: %s", error)


def _record(kind: Kind, started_at, outcome: _Outcome) -> None:
    UpkeepRun.objects.filter(started_at__lt=started_at - KEPT).delete()
    row = UpkeepRun.objects.create(
        kind=kind,
        started_at=started_at,
        ended_at=timezone.now(),
        is_whole=not outcome.faults,
        said="\n".join([*outcome.faults, *outcome.said]),
        figures=outcome.figures,
    )
    if not row.is_whole:
        log.error("%s: %s", kind.label, row.said)
        _tell(row)


def _tell(row: UpkeepRun) -> None:
    if not (settings.MAIL and settings.OPERATOR_EMAIL):
        return
    when = figures.date_time(timezone.localtime(row.started_at))
    letters.post_to_operator(
        settings.OPERATOR_EMAIL,
        f"Studio: the {row.get_kind_display()} of {when} needs you",
        f"{row.said}\n\nWhat to do is in deploy/README.md, under Back up, and restore.\n",
    )


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
    last = last_backup()
    if last is None:
        return True
    if not last.figures:  # it could not be finished
        return last.started_at < now - TRIED_AGAIN
    tonight = now.replace(hour=HOUR, minute=0, second=0, microsecond=0)
    since = tonight if now >= tonight else tonight - timedelta(days=1)
    return last.started_at < since


def _drill_is_due(now: datetime) -> bool:
    last = last_drill()
    if last is None:
        return True
    return last.started_at < now - (DRILL_EVERY if last.is_whole else 4 * TRIED_AGAIN)

"""``drill``: restore the newest backup into a scratch place, see that it is whole, remove it again.

The database is really loaded: SQLite in a scratch folder, PostgreSQL as a database of its own. Each
file is restored, hashed and removed one after the other, so that a drill needs room for the
database and the largest file alone. What the rows name must be what was restored.
"""

import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from uuid import uuid4

import psycopg
from django.conf import settings
from django.db import ProgrammingError, connection

from studio import postgres

from . import databases, encryption
from .backup import said_when_full
from .manifests import DATABASE, Backup, BackupError, find
from .restore import Opened, check_kind, opened
from .verification import sha256_of

NOT_OPENED = (
    "The backup is encrypted and this machine has no BACKUP_IDENTITY: its files were compared with "
    "their hashes, and not opened. Once in a while make a drill where the identity file is."
)
NOT_LOADED = (
    "The dump was read through and not loaded: this user may make no database "
    "(ALTER ROLE … CREATEDB)."
)


@dataclass(slots=True)
class Report:
    """What a drill looked at, and what is wrong."""

    backup: Backup
    faults: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    figures: dict = field(default_factory=dict)


def drill(place: Path, identity: Path | None, passphrase: str = "") -> Report:
    """Look whether the newest backup in ``place`` can be restored; the stores stay as they are.

    Raises
    ------
    BackupError
        When there is no backup, or nothing that opens it.
    """
    backup = find(place)
    report = Report(backup)
    report.figures = {"made_at": backup.made_at, "files": 0, "size_bytes": 0, "is_opened": True}
    report.said.append(f"{backup.folder}, of {backup.made_at}.")
    report.faults += backup.manifest["database"].get("faults", [])
    try:
        check_kind(backup)
        if backup.key and identity is None:
            _compare_unopened(backup, report)
            return report
        with (
            said_when_full(str(settings.STUDIO_DATA), "Free some"),
            opened(backup, identity, passphrase) as ready,
        ):
            _load_database(ready, _restore_files(ready, report), report)
    except encryption.SealingError as error:
        raise BackupError(str(error)) from None
    return report


def _compare_unopened(backup: Backup, report: Report) -> None:
    report.said.append(NOT_OPENED)
    report.figures["is_opened"] = False
    path = backup.folder / DATABASE
    found = backup.manifest["database"].get("file_sha256")
    if not path.is_file() or sha256_of(path) != found:
        report.faults.append(f"{path} is missing, or has changed since it was written")
    place = backup.objects()
    for kept in set(backup.kept().values()):
        _count(report, kept.file_bytes)
        if fault := place.fault(kept):
            report.faults.append(fault)
            place.set_aside(kept)


def _restore_files(ready: Opened, report: Report) -> dict[str, str]:
    """Restore every file, one after the other; the hash of each, by its path."""
    restored: dict[str, str] = {}
    target = ready.scratch / "file"
    for named in ready.backup.named():
        try:
            ready.take(named.path, target)
        except FileNotFoundError:
            report.faults.append(f"{named.owner}: {named.path} is not in the backup any more")
            continue
        except encryption.SealingError as error:
            report.faults.append(f"{named.owner}: {named.path}: {error}")
            if kept := ready.kept.get(named.path):
                ready.backup.objects().set_aside(kept)
            continue
        restored[named.path] = sha256_of(target)
        _count(report, target.stat().st_size)
        target.unlink()
    return restored


def _count(report: Report, size_bytes: int) -> None:
    report.figures["files"] += 1
    report.figures["size_bytes"] += size_bytes


def _load_database(ready: Opened, restored: dict[str, str], report: Report) -> None:
    """Load the database and see that the files which its rows name were restored."""
    with _loaded(ready.database, report) as execute:
        if execute is None:
            return
        known = {*ready.backup.manifest.get("missing", ()), *ready.backup.manifest["damaged"]}
        people = next(iter(execute("SELECT count(*) FROM accounts_person")))[0]
        report.figures["people"] = people
        for named in databases.files_named_by(execute):
            if named.path not in known and restored.get(named.path) != named.sha256:
                report.faults.append(
                    f"{named.owner}: {named.path} did not come back as its row says"
                )


@contextmanager
def _loaded(source: Path, report: Report) -> Iterator:
    """What runs a query in the loaded database; None where none may be made."""
    if connection.vendor == "sqlite":
        import sqlite3

        report.faults += databases.sqlite_faults(source)
        with closing(sqlite3.connect(source)) as own:
            yield own.execute
        return
    name = f"{settings.DATABASES['default']['NAME']}_drill_{uuid4().hex[:8]}"
    try:
        databases.create_postgres(name)
    except ProgrammingError:
        report.said.append(NOT_LOADED)
        with tempfile.TemporaryDirectory() as scratch:
            databases.run("pg_restore", f"--file={scratch}/script.sql", str(source))
        yield None
        return
    try:
        databases.load_postgres(source, name)
        with closing(psycopg.connect(postgres.address(name), password=postgres.password())) as own:
            yield own.execute
    finally:
        databases.drop_postgres(name)

"""``backup``: both stores, to a place for backups (:mod:`.manifests`).

Stored files never change, so that a snapshot of the database taken first, and its files copied
afterwards, belong together; where a file went in between, the snapshot is taken again. One that is
still missing then, or damaged, stops nothing: the backup goes on, names it, and holds all the rest.
"""

import errno
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.db import connection

from studio import __version__, durable, releases, running
from studio.clips.storage.stores import store

from . import configuration, databases, encryption, retention
from .manifests import (
    DATABASE,
    MANIFEST,
    SETTINGS,
    VERSION,
    BackupError,
    alone_in,
    backups_in,
    write_manifest,
)
from .objects import Kept, Objects
from .verification import Named, sha256_of

TRIES = 3
NO_ROOM = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}


@dataclass(slots=True)
class Finished:
    """A backup that was made, and what was found wrong while it was."""

    folder: Path
    manifest: dict
    added_bytes: int = 0  # in new objects, as they lie there
    pruned: int = 0
    faults: list[str] = field(default_factory=list)


@dataclass(slots=True)
class _Work:
    """What has been done so far of the backup that is being made."""

    objects: Objects
    known: dict[str, Kept]  # of the backups before, by the hash of the content
    kept: dict[str, Kept] = field(default_factory=dict)  # by path
    faults: dict[str, str] = field(default_factory=dict)  # by path
    added: list[Kept] = field(default_factory=list)


def back_up(place: Path) -> Finished:
    """Add a backup of both stores to ``place``, encrypted where a recipient is set.

    Raises
    ------
    BackupError
        When it could not be finished; no part of it counts as a backup.
    """
    with running.entered("backup"), alone_in(place), said_when_full(str(place), "Free some"):
        _remove_unfinished(place)
        retention.note_erasures(place)
        work = _Work(Objects(place, settings.BACKUP_RECIPIENT), _known(place))
        folder = _new_folder(place)
        try:
            finished = _write(folder, work)
        except BaseException as error:
            shutil.rmtree(folder, ignore_errors=True)
            if is_full(error):  # what was kept so far would fill the disk, too
                for one in work.added:
                    work.objects.path(one.sha256).unlink(missing_ok=True)
            raise
        if not finished.faults:  # a backup from before may hold what is wrong now
            keep = retention.Keep(*settings.BACKUP_KEEP)
            finished.pruned = retention.prune(place, keep, settings.BACKUP_ERASED_DAYS)
        return finished


def is_full(error: BaseException) -> bool:
    """Whether something could not be written for want of room."""
    if isinstance(error, sqlite3.OperationalError):
        return error.sqlite_errorcode in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_WRITE)
    return isinstance(error, OSError) and error.errno in NO_ROOM


@contextmanager
def said_when_full(place: str, advice: str) -> Iterator[None]:
    """Turn an error for want of room into a sentence."""
    try:
        yield
    except (OSError, sqlite3.OperationalError) as error:
        if not is_full(error):
            raise
        raise BackupError(f"{place} has no room left. {advice}, then try again") from None


def _known(place: Path) -> dict[str, Kept]:
    """The objects that earlier backups for the same recipient have."""
    same = [backup for backup in backups_in(place) if backup.key == settings.BACKUP_RECIPIENT]
    return {one.sha256: one for backup in same for one in backup.kept().values()}


def _remove_unfinished(place: Path) -> None:
    """A folder without a manifest was cut off; nobody else is at work here."""
    for path in place.glob("[0-9]*T*Z*"):
        if path.is_dir() and not (path / MANIFEST).exists():
            shutil.rmtree(path)


def _new_folder(place: Path) -> Path:
    now = datetime.now(UTC).isoformat(timespec="seconds")
    name, number = now.replace(":", "").replace("+0000", "Z"), 1
    folder = place / name
    while folder.exists():
        number += 1
        folder = place / f"{name}-{number}"
    folder.mkdir()
    return folder


def _write(folder: Path, work: _Work) -> Finished:
    with tempfile.TemporaryDirectory(prefix=".making-", dir=folder) as scratch:
        plain = Path(scratch) / DATABASE
        named = _snapshot_and_files(plain, work)
        faults = databases.sqlite_faults(plain) if connection.vendor == "sqlite" else []
        manifest = _manifest(plain, named, work, faults)
        manifest["database"] |= _seal(plain, folder / DATABASE, work.objects.key)
        if work.objects.key:
            own = Path(scratch) / SETTINGS
            configuration.write(own)
            manifest["settings"] = _seal(own, folder / SETTINGS, work.objects.key)
    write_manifest(folder, manifest)
    durable.sync_folder(folder.parent)
    added = sum(one.file_bytes for one in work.added)
    return Finished(folder, manifest, added, faults=[*faults, *work.faults.values()])


def _snapshot_and_files(plain: Path, work: _Work) -> list[Named]:
    """The files of the snapshot; a file is missing only if a second snapshot names it, too."""
    before: set[str] | None = None
    for _ in range(TRIES):
        try:
            named = databases.snapshot(plain)
        except sqlite3.DatabaseError as error:
            if is_full(error):
                raise
            raise BackupError(
                f"the database is damaged and cannot be read ({error}); restore the newest backup"
            ) from None
        at_rest = {entry.name: entry.size_bytes for entry in store().entries()}
        missing = {one.path for one in named if not _keep(one, at_rest, work)}
        if not missing or missing == before:
            break
        before = missing
    for one in named:
        if one.path in missing:
            work.faults[one.path] = _missing(one, one.path in work.kept)
    return named


def _keep(named: Named, at_rest: dict[str, int], work: _Work) -> bool:
    """Keep one file in the backup, unless it has it already; whether it was there."""
    there = named.path in at_rest
    before = work.known.get(named.sha256)
    if before is not None and work.objects.has(before):
        work.kept[named.path] = before
        if there and at_rest[named.path] != named.size_bytes:
            work.faults[named.path] = _damaged(named, "the backup has it whole, from before")
        return there
    if not there:
        return False
    try:
        with store().local(named.path) as source:
            made = work.objects.put(source)
    except FileNotFoundError:
        return False
    work.kept[named.path] = work.known[made.sha256] = made
    work.added.append(made)
    if made.sha256 != named.sha256:
        work.faults[named.path] = _damaged(named, "the backup has it as it is")
    return True


def _missing(named: Named, held: bool) -> str:
    more = "; the backup has it, from before" if held else ""
    return f"{named.owner}: {named.path} is missing{more}"


def _damaged(named: Named, more: str) -> str:
    return f"{named.owner}: {named.path} has other bytes than were stored; {more}"


def _manifest(plain: Path, named: list[Named], work: _Work, faults: list[str]) -> dict:
    current = {one.path: one for one in named}
    held = [one for one in named if one.path in work.kept]
    return {
        "version": VERSION,
        "program": __version__,
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "key": work.objects.key,
        "secret_key": configuration.mark(),
        "database": {
            "vendor": connection.vendor,
            "release": databases.release(),
            "migrations": sorted(releases.applied_migrations()),
            "sha256": sha256_of(plain),
            "faults": faults,
        },
        "files": [asdict(one) | {"object": asdict(work.kept[one.path])} for one in held],
        "missing": [one.path for one in named if one.path not in work.kept],
        "damaged": {path: fault for path, fault in work.faults.items() if path in current},
    }


def _seal(source: Path, target: Path, key: str) -> dict:
    """Write a file into the backup, encrypted where there is a key; the hash of what lies there."""
    with source.open("rb") as file, target.open("wb") as out:
        writing = encryption.Hashing(out)
        encryption.seal(file, writing, key)
        out.flush()
        os.fsync(out.fileno())
    return {"file_sha256": writing.sha256}

"""``backup`` and ``restore``: both stores, as one pair.

A backup is a folder: ``database`` (a snapshot), ``media/`` (the files its rows name) and
``manifest.json`` (what is in it, with hashes). Stored files never change, so that a snapshot
of the database taken first, and its files copied afterwards, belong together; where a file
went in between, the snapshot is taken again.

What was erased stays erased: erasures are also kept in a list beside the stores, and a restore
carries them out again.
"""

import json
import os
import shutil
import sqlite3
import subprocess
from contextlib import closing
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.db import connection, connections, transaction

from studio import __version__
from studio.clips import erasures, files
from studio.clips.stores import store

from .verifying import FILE_MODELS, Named, fault_of, named_files, sha256_of

TRIES = 5
DATABASE, MEDIA, MANIFEST = "database", "media", "manifest.json"


class BackupError(Exception):
    """Why it could not be done, and what to do."""


def back_up(target: Path) -> dict:
    """Write a backup of both stores to the new folder ``target``; returns its manifest."""
    if target.exists() and any(target.iterdir()):
        raise BackupError(f"{target} is not empty; name a new folder, so that nothing is lost")
    target.mkdir(parents=True, exist_ok=True)
    for _ in range(TRIES):
        named = _snapshot(target / DATABASE)
        missing = [one.path for one in named if not _copy(one, target / MEDIA)]
        if not missing:
            return _write_manifest(target, named)
    raise BackupError(
        f"{len(missing)} files that rows name are missing ({missing[0]} is one); "
        "run `python -m studio verify`"
    )


def restore(source: Path) -> dict:
    """Put a backup in the place of both stores, then erase again what was erased since.

    The web and the workers must be stopped. Files of clips that the backup does not know become
    left-overs; an SQLite database that was there is kept beside, as ``.before-restore``.
    """
    manifest = _checked_manifest(source)
    connections.close_all()
    _put_media(source / MEDIA, [Named(**entry) for entry in manifest["files"]])
    _put_database(source / DATABASE)
    again = erasures.carry_out_again()
    return manifest | {"erased_again": again}


# -- backing up ------------------------------------------------------------------------------


def _snapshot(path: Path) -> list[Named]:
    """Write the database as it is now to ``path``; returns the files that its rows name."""
    path.unlink(missing_ok=True)
    return _snapshot_sqlite(path) if connection.vendor == "sqlite" else _snapshot_postgres(path)


def _snapshot_sqlite(path: Path) -> list[Named]:
    # Copying the live file loses what is still in the write-ahead log; this does not.
    live = settings.DATABASES["default"]["NAME"]
    with closing(sqlite3.connect(live)) as one, closing(sqlite3.connect(path)) as other:
        one.backup(other)
        other.execute("PRAGMA journal_mode=DELETE")
        return [
            Named(f"{model._meta.verbose_name} of clip {row[0]}", *row[1:])
            for model in FILE_MODELS
            for row in other.execute(
                f"SELECT clip_id, path, sha256, size_bytes FROM {model._meta.db_table}"
            )
        ]


def _snapshot_postgres(path: Path) -> list[Named]:
    """The dump and the rows are read from one exported snapshot, so that they agree."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        cursor.execute("SELECT pg_export_snapshot()")
        snapshot = cursor.fetchone()[0]
        _run(
            "pg_dump",
            "--format=custom",
            f"--file={path}",
            f"--snapshot={snapshot}",
            *postgres_arguments(),
        )
        return list(named_files())


def _copy(named: Named, media: Path) -> bool:
    """Copy one file into the backup; whether it was there."""
    target = media / named.path
    if target.exists():
        return True
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        with store().local(named.path) as source:
            shutil.copyfile(source, target)
    except FileNotFoundError:
        target.unlink(missing_ok=True)
        return False
    with target.open("rb") as file:
        os.fsync(file.fileno())
    return True


def _write_manifest(target: Path, named: list[Named]) -> dict:
    manifest = {
        "version": 1,
        "program": __version__,
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "database": {"vendor": connection.vendor, "sha256": sha256_of(target / DATABASE)},
        "files": [asdict(one) for one in named],
    }
    beside = target / f".{MANIFEST}"
    beside.write_text(json.dumps(manifest, indent=1))
    beside.replace(target / MANIFEST)
    return manifest


# -- restoring -------------------------------------------------------------------------------


def _checked_manifest(source: Path) -> dict:
    path = source / MANIFEST
    if not path.is_file():
        raise BackupError(f"{source} holds no finished backup (no {MANIFEST}); choose another")
    manifest = json.loads(path.read_text())
    if manifest["database"]["vendor"] != connection.vendor:
        raise BackupError(
            f"the backup is of {manifest['database']['vendor']}, this studio runs on "
            f"{connection.vendor}; set DATABASE_URL to the kind that was backed up"
        )
    if sha256_of(source / DATABASE) != manifest["database"]["sha256"]:
        raise BackupError(f"{source / DATABASE} has changed since it was written; choose another")
    for entry in manifest["files"]:
        named = Named(**entry)
        fault = fault_of(named, source / MEDIA / named.path)
        if fault:
            raise BackupError(f"the backup is damaged: {fault}")
    return manifest


def _put_media(source: Path, named: list[Named]) -> None:
    """Put every file of the backup at rest again. Stored names are never written twice with
    other bytes, so that what is there already, and whole, can stay."""
    place = store()
    for one in named:
        made = files.bench_path()
        shutil.copyfile(source / one.path, made)
        files.keep(files.finished(made), one.path, place)


def _put_database(source: Path) -> None:
    if connection.vendor == "sqlite":
        live = Path(settings.DATABASES["default"]["NAME"])
        beside = live.with_name(f"{live.name}.restoring")
        shutil.copyfile(source, beside)
        _set_aside(live)
        for suffix in ("-wal", "-shm"):
            live.with_name(live.name + suffix).unlink(missing_ok=True)
        beside.replace(live)
        return
    _run(
        "pg_restore",
        "--clean",
        "--if-exists",
        "--no-owner",
        "--single-transaction",
        *postgres_arguments(),
        str(source),
    )


def _set_aside(path: Path) -> None:
    if path.exists():
        path.replace(path.with_name(f"{path.name}.before-restore"))


# -- PostgreSQL's own tools ------------------------------------------------------------------


def postgres_arguments() -> list[str]:
    found = settings.DATABASES["default"]
    host = [f"--host={found['HOST']}"] if found["HOST"] else []
    port = [f"--port={found['PORT']}"] if found["PORT"] else []
    user = [f"--username={found['USER']}"] if found["USER"] else []
    return [*host, *port, *user, f"--dbname={found['NAME']}"]


def _run(program: str, *arguments: str) -> None:
    if shutil.which(program) is None:
        raise BackupError(f"{program} was not found; install PostgreSQL's client programs")
    environment = os.environ | {"PGPASSWORD": settings.DATABASES["default"]["PASSWORD"]}
    done = subprocess.run(
        [program, *arguments], env=environment, capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise BackupError(f"{program} failed: {done.stderr.strip()[-500:]}")

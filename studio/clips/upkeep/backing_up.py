"""``backup`` and ``restore``: both stores, as one pair.

A backup is a folder: ``database`` (a snapshot), ``media/`` (the files its rows name) and
``manifest.json`` (what is in it, with hashes). Stored files never change, so that a snapshot
of the database taken first, and its files copied afterwards, belong together; where a file
went in between, the snapshot is taken again. A file that is damaged already is copied as it is and
named in the manifest: one bad file must not stand between a studio and its backups.

What was erased stays erased: erasures are also kept in a list beside the stores, and a restore
carries them out again.
"""

import json
import os
import shutil
import sqlite3
import subprocess
import tempfile
from contextlib import closing
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections, transaction
from psycopg.conninfo import make_conninfo

from studio import __version__
from studio.clips import erasures, files
from studio.clips.stores import store, sync_folder

from .verifying import FILE_MODELS, Named, fault_of, named_files, sha256_of

TRIES = 5
# Every table, so that one which the backup does not know is not left between the others.
EMPTY_POSTGRES = """
SET lock_timeout = '10s';
DO $$ DECLARE name text; BEGIN
  FOR name IN SELECT quote_ident(tablename) FROM pg_tables WHERE schemaname = 'public' LOOP
    EXECUTE 'DROP TABLE public.' || name || ' CASCADE';
  END LOOP;
END $$;
"""
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
            _remove_unnamed(target / MEDIA, named)
            return _write_manifest(target, named)
    raise BackupError(
        f"{len(missing)} files that rows name are missing ({missing[0]} is one); "
        "run `python -m studio verify`"
    )


def restore(source: Path) -> dict:
    """Put a backup in the place of both stores, then erase again what was erased since.

    The web and the workers must be stopped. Files of clips that the backup does not know become
    left-overs; an SQLite database that was there is kept beside, as ``.before-restore``. A backup
    of an older program is brought up to date.
    """
    manifest = _checked_manifest(source)
    connections.close_all()
    _put_media(source / MEDIA, [Named(**entry) for entry in manifest["files"]])
    _put_database(source / DATABASE)
    call_command("migrate", interactive=False, verbosity=0)
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
            postgres_address(),
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
    _sync(target)
    return True


def _remove_unnamed(media: Path, named: list[Named]) -> None:
    """What an earlier try copied, and was erased before the last, must not stay in the backup."""
    known = {media / one.path for one in named}
    for path in [path for path in media.rglob("*") if path.is_file()]:
        if path not in known:
            path.unlink()


def _sync(path: Path) -> None:
    with path.open("rb") as file:
        os.fsync(file.fileno())


def _write_manifest(target: Path, named: list[Named]) -> dict:
    """The manifest comes last, and whole: without it a folder is no backup."""
    faults = {one.path: fault_of(one, target / MEDIA / one.path) for one in named}
    manifest = {
        "version": 1,
        "program": __version__,
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "database": {"vendor": connection.vendor, "sha256": sha256_of(target / DATABASE)},
        "files": [asdict(one) for one in named],
        "damaged": {path: fault for path, fault in faults.items() if fault},
    }
    beside = target / f".{MANIFEST}"
    beside.write_text(json.dumps(manifest, indent=1))
    for written in (target / DATABASE, beside):
        _sync(written)
    beside.replace(target / MANIFEST)
    sync_folder(target)
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
        if fault and named.path not in manifest.get("damaged", {}):
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
    with tempfile.TemporaryDirectory() as scratch:
        script, emptying = Path(scratch) / "restore.sql", Path(scratch) / "empty.sql"
        emptying.write_text(EMPTY_POSTGRES)
        _run("pg_restore", "--no-owner", "--no-privileges", f"--file={script}", str(source))
        # One transaction: what was there goes only if all of the backup comes.
        options = ("--quiet", "--no-psqlrc", "--single-transaction", "--set=ON_ERROR_STOP=1")
        _run("psql", *options, f"--file={emptying}", f"--file={script}", postgres_address())


def _set_aside(path: Path) -> None:
    if path.exists():
        path.replace(path.with_name(f"{path.name}.before-restore"))


# -- PostgreSQL's own tools ------------------------------------------------------------------


def postgres_address() -> str:
    """The database as libpq's programs take it; the password goes by the environment."""
    found = settings.DATABASES["default"]
    parts = {"host": found["HOST"], "port": found["PORT"], "user": found["USER"]}
    parts = {name: value for name, value in parts.items() if value} | found["OPTIONS"]
    return "--dbname=" + make_conninfo(dbname=found["NAME"], **parts)


def _run(program: str, *arguments: str) -> None:
    if shutil.which(program) is None:
        raise BackupError(f"{program} was not found; install PostgreSQL's client programs")
    environment = os.environ | {"PGPASSWORD": settings.DATABASES["default"]["PASSWORD"]}
    done = subprocess.run(
        [program, *arguments], env=environment, capture_output=True, text=True, check=False
    )
    if "lock timeout" in done.stderr:
        raise BackupError("the studio is still running; stop web and workers, then try again")
    if done.returncode:
        raise BackupError(f"{program} failed: {done.stderr.strip()[-500:]}")

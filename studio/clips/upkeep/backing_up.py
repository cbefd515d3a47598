"""``backup`` and ``restore``: both stores, as one pair.

A backup is a folder: ``database`` (a snapshot), ``media/`` (the files its rows name) and
``manifest.json`` (what is in it, with hashes). Stored files never change, so that a snapshot
of the database taken first, and its files copied afterwards, belong together; where a file
went in between, the snapshot is taken again. A file that is damaged already is copied as it is and
named in the manifest: one bad file must not stand between a studio and its backups. The manifest
comes last; a backup that fails leaves nothing, and one that was cut off has no manifest.

What was erased stays erased: erasures are also kept in a list beside the stores, and a restore
carries them out again.
"""

import errno
import json
import os
import shutil
import sqlite3
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath

from django.conf import settings
from django.core.management import call_command
from django.db import DatabaseError, connection, connections, transaction
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from psycopg.conninfo import make_conninfo

from studio import __version__
from studio.accounts.models import Person
from studio.clips import erasures, files
from studio.clips.models import file_models
from studio.clips.stores import store, sync_folder

from .verifying import Named, fault_of, named_files, sha256_of

VERSION = 1  # of the manifest
TRIES = 5
NO_ROOM = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
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
    """Write a backup of both stores to the new folder ``target``; returns its manifest.

    Raises
    ------
    BackupError
        When it could not be finished; what had been written is removed again.
    """
    if target.exists() and any(target.iterdir()):
        raise BackupError(f"{target} is not empty; name a new folder, so that nothing is lost")
    target.mkdir(parents=True, exist_ok=True)
    with _whole_or_not_at_all(target):
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


def restore(source: Path, *, replace: bool = False) -> dict:
    """Put a backup in the place of both stores, then erase again what was erased since.

    A studio that has people in it is left alone unless ``replace`` says that it may go. The web
    and the workers must be stopped. Files of clips that the backup does not know become
    left-overs; an SQLite database that was there is kept beside, as ``.before-restore``. A backup
    of an older program is brought up to date.
    """
    manifest = _checked_manifest(source)
    if not replace:
        _refuse_to_replace()
    connections.close_all()
    with _said_when_full("this machine's disk", "Free some, then restore again"):
        _put_media(source / MEDIA, [Named(**entry) for entry in manifest["files"]])
        _put_database(source / DATABASE)
    call_command("migrate", interactive=False, verbosity=0)
    again = erasures.carry_out_again()
    return manifest | {"erased_again": again, "said": _said(manifest["database"])}


@contextmanager
def _said_when_full(place: str, advice: str) -> Iterator[None]:
    """Turn an error for want of room into a sentence."""
    try:
        yield
    except OSError as error:
        if error.errno not in NO_ROOM:
            raise
        raise BackupError(f"{place} has no room left. {advice}") from None
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode not in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_WRITE):
            raise
        raise BackupError(f"{place} has no room left. {advice}") from None


# -- backing up ------------------------------------------------------------------------------


@contextmanager
def _whole_or_not_at_all(target: Path) -> Iterator[None]:
    """Remove again what a backup wrote that could not be finished."""
    try:
        with _said_when_full(str(target), "Free some, or name a folder on another disk"):
            yield
    except BaseException:
        shutil.rmtree(target / MEDIA, ignore_errors=True)
        for name in (DATABASE, f".{MANIFEST}"):
            (target / name).unlink(missing_ok=True)
        raise


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
            for model in file_models()
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
        "version": VERSION,
        "program": __version__,
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "database": {
            "vendor": connection.vendor,
            "release": _release(),
            "migrations": sorted(".".join(one) for one in _migrations_of_the_database()),
            "sha256": sha256_of(target / DATABASE),
        },
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
    """The manifest of a backup that is whole and that this program and database can take."""
    manifest = _read_manifest(source)
    found = manifest["database"]
    if found["vendor"] != connection.vendor:
        raise BackupError(
            f"the backup is of {found['vendor']}, this studio runs on {connection.vendor}; "
            "set DATABASE_URL to the kind that was backed up"
        )
    _refuse_newer(manifest)
    if not (source / DATABASE).is_file() or sha256_of(source / DATABASE) != found["sha256"]:
        raise BackupError(
            f"{source / DATABASE} is missing, or has changed since it was written; "
            "choose another backup"
        )
    for entry in manifest["files"]:
        named = Named(**entry)
        fault = fault_of(named, source / MEDIA / named.path)
        if fault and named.path not in manifest.get("damaged", {}):
            raise BackupError(f"the backup is damaged: {fault}")
    return manifest


def _read_manifest(source: Path) -> dict:
    path = source / MANIFEST
    if not path.is_file():
        raise BackupError(f"{source} holds no finished backup (no {MANIFEST}); choose another")
    try:
        manifest = json.loads(path.read_text())
        known = manifest["version"] == VERSION
        manifest["database"]["vendor"], manifest["database"]["sha256"], manifest["made_at"]
        outside = [one for one in manifest["files"] if not _stays_inside(Named(**one).path)]
    except (ValueError, KeyError, TypeError, AttributeError):
        raise BackupError(f"{path} is damaged and cannot be read; choose another backup") from None
    if not known:
        raise BackupError(
            f"{path} is of version {manifest['version']}, this program reads version {VERSION}; "
            "restore it with the program that made it"
        )
    if outside:
        raise BackupError(f"{path} names a file outside the backup; choose another backup")
    return manifest


def _stays_inside(name: str) -> bool:
    path = PurePosixPath(name)
    return not path.is_absolute() and ".." not in path.parts


def _refuse_newer(manifest: dict) -> None:
    """An older database is brought up to date; a newer one cannot be taken back."""
    ours = {".".join(one) for one in MigrationLoader(None).disk_migrations}
    unknown = sorted(set(manifest["database"].get("migrations", ())) - ours)
    if unknown:
        raise BackupError(
            f"the backup was made by a newer program ({manifest.get('program', 'unknown')}; this "
            f"is {__version__}, which does not know {unknown[0]}); install that version first"
        )


def _refuse_to_replace() -> None:
    try:
        people = Person.objects.count() if _has_tables() else 0
    except DatabaseError as error:
        raise BackupError(
            f"the database that is there cannot be read ({str(error).strip()}); "
            "add --replace to put the backup in its place"
        ) from None
    if people:
        raise BackupError(
            f"this studio is not empty: {people} people are in it. Add --replace to put the "
            "backup in its place"
        )


def _has_tables() -> bool:
    return Person._meta.db_table in connection.introspection.table_names()


def _migrations_of_the_database() -> list[tuple[str, str]]:
    return list(MigrationRecorder(connection).applied_migrations())


def _release() -> str:
    """The database's own version, such as 15.4."""
    if connection.vendor == "sqlite":
        return sqlite3.sqlite_version
    return ".".join(map(str, divmod(connection.pg_version, 10_000)))


def _said(database: dict) -> list[str]:
    """What an operator should know of a backup that was taken with other versions."""
    said, then = [], set(database.get("migrations", ()))
    if then and any(".".join(one) not in then for one in _migrations_of_the_database()):
        said.append("It was of an older program, and was brought up to date.")
    if database.get("release", _release()) != _release():
        said.append(f"It was of {database['vendor']} {database['release']}; this is {_release()}.")
    return said


def _put_media(source: Path, named: list[Named]) -> None:
    """Put every file of the backup at rest again. Stored names are never written twice with
    other bytes, so that what is there already, and whole, can stay."""
    place = store()
    for one in named:
        made = files.bench_path()
        try:
            shutil.copyfile(source / one.path, made)
            files.keep(files.finished(made), one.path, place)
        finally:
            made.unlink(missing_ok=True)


def _put_database(source: Path) -> None:
    if connection.vendor == "sqlite":
        live = Path(settings.DATABASES["default"]["NAME"])
        beside = live.with_name(f"{live.name}.restoring")
        try:
            shutil.copyfile(source, beside)
        except OSError:
            beside.unlink(missing_ok=True)
            raise
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

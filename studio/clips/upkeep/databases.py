"""The database as a file: snapshot it, look whether it is whole, put it back."""

import os
import shutil
import sqlite3
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from uuid import UUID

from django.conf import settings
from django.db import connection, transaction
from psycopg import sql

from studio import durable, postgres
from studio.clips.models import file_models

from .manifests import BackupError
from .verification import Named, named_files

# Every table, so that one which the backup does not know is not left between the others.
EMPTY_POSTGRES = """
SET lock_timeout = '10s';
DO $$ DECLARE name text; BEGIN
  FOR name IN SELECT quote_ident(tablename) FROM pg_tables WHERE schemaname = 'public' LOOP
    EXECUTE 'DROP TABLE public.' || name || ' CASCADE';
  END LOOP;
END $$;
"""
# Of each foreign key of one column: how many rows point to one that is not there.
FOREIGN_KEYS = """
SELECT conrelid::regclass::text, a.attname, confrelid::regclass::text, b.attname
FROM pg_constraint
JOIN pg_attribute a ON a.attrelid = conrelid AND a.attnum = conkey[1]
JOIN pg_attribute b ON b.attrelid = confrelid AND b.attnum = confkey[1]
WHERE contype = 'f' AND array_length(conkey, 1) = 1 ORDER BY 1, 2
"""
INDEXES = """
SELECT c.oid::regclass::text FROM pg_class c JOIN pg_am m ON m.oid = c.relam
JOIN pg_index i ON i.indexrelid = c.oid JOIN pg_namespace n ON n.oid = c.relnamespace
WHERE m.amname = 'btree' AND i.indisvalid AND n.nspname = 'public' ORDER BY 1
"""
NO_AMCHECK = (
    "The indexes were not compared with their tables: PostgreSQL's extension amcheck is not there "
    "for this user (deploy/README.md says how to add it)."
)


def release() -> str:
    """The database's own version, such as 15.4."""
    if connection.vendor == "sqlite":
        return sqlite3.sqlite_version
    return ".".join(map(str, divmod(connection.pg_version, 10_000)))


# -- snapshot --------------------------------------------------------------------------------


def snapshot(path: Path) -> list[Named]:
    """Write the database as it is now to ``path``; returns the files that its rows name."""
    path.unlink(missing_ok=True)
    return _snapshot_sqlite(path) if connection.vendor == "sqlite" else _snapshot_postgres(path)


def _snapshot_sqlite(path: Path) -> list[Named]:
    # Copying the live file loses what is still in the write-ahead log; this does not.
    live = settings.DATABASES["default"]["NAME"]
    with closing(sqlite3.connect(live)) as one, closing(sqlite3.connect(path)) as other:
        one.backup(other)
        other.execute("PRAGMA journal_mode=DELETE")
        return list(files_named_by(other.execute))


def _snapshot_postgres(path: Path) -> list[Named]:
    """The dump and the rows are read from one exported snapshot, so that they agree."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        cursor.execute("SELECT pg_export_snapshot()")
        exported = cursor.fetchone()[0]
        options = ("--format=custom", f"--file={path}", f"--snapshot={exported}")
        run("pg_dump", *options, f"--dbname={postgres.address()}")
        return list(named_files())


def files_named_by(execute) -> Iterator[Named]:
    """The files that the rows of another database name; ``execute`` runs a query there."""
    for model in file_models():
        query = f"SELECT clip_id, path, sha256, size_bytes FROM {model._meta.db_table}"
        for clip_id, *rest in execute(query):
            yield Named(f"{model._meta.verbose_name} of clip {UUID(str(clip_id))}", *rest)


# -- is it whole -----------------------------------------------------------------------------


def sqlite_faults(path: Path) -> list[str]:
    """What SQLite itself finds wrong in a database file: pages, indexes, foreign keys."""
    try:
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as database:
            said = [row[0] for row in database.execute("PRAGMA integrity_check(20)")]
            faults = [f"the database: {line}" for line in said if line != "ok"]
            for table, row, parent, _ in database.execute("PRAGMA foreign_key_check"):
                faults.append(
                    f"the database: row {row} of {table} names one of {parent} that is not there"
                )
    except sqlite3.DatabaseError as error:
        return [f"the database: {error}"]
    return faults


def faults() -> tuple[list[str], list[str]]:
    """What is wrong in the database that the studio uses, and what could not be looked at."""
    if connection.vendor == "sqlite":
        return sqlite_faults(Path(settings.DATABASES["default"]["NAME"])), []
    found, unseen = _unreadable(), []
    with connection.cursor() as cursor:
        found += _broken_foreign_keys(cursor)
        indexes = _broken_indexes(cursor)
    if indexes is None:
        unseen.append(NO_AMCHECK)
    return found + (indexes or []), unseen


def _unreadable() -> list[str]:
    """Read every row, as a backup does; pages that cannot be read are an error of the server."""
    try:
        options = ("--format=custom", "--no-sync", f"--file={os.devnull}")
        run("pg_dump", *options, f"--dbname={postgres.address()}")
    except BackupError as error:
        return [f"the database: {error}"]
    return []


def _broken_foreign_keys(cursor) -> list[str]:
    cursor.execute(FOREIGN_KEYS)
    broken = []
    for table, column, parent, key in cursor.fetchall():
        query = (
            f'SELECT count(*) FROM {table} c LEFT JOIN {parent} p ON p."{key}" = c."{column}" '
            f'WHERE c."{column}" IS NOT NULL AND p."{key}" IS NULL'
        )
        cursor.execute(query)
        if number := cursor.fetchone()[0]:
            broken.append(
                f"the database: {number} rows of {table} name one of {parent} that is not there"
            )
    return broken


def _broken_indexes(cursor) -> list[str] | None:
    """What amcheck finds wrong; none when it cannot be used."""
    cursor.execute(
        "SELECT count(*) FROM pg_proc WHERE proname = 'bt_index_check' "
        "AND has_function_privilege(oid, 'EXECUTE')"
    )
    if not cursor.fetchone()[0]:
        return None
    cursor.execute(INDEXES)
    broken = []
    for (index,) in cursor.fetchall():
        try:
            with transaction.atomic():
                cursor.execute("SELECT bt_index_check(%s::regclass, true)", [index])
        except Exception as error:  # amcheck reports by raising, each time another kind
            broken.append(f"the database: index {index}: {str(error).splitlines()[0]}")
    return broken


# -- put back --------------------------------------------------------------------------------


def put_back(source: Path) -> None:
    """Put a snapshot in the database's place; what was there goes only if all of it comes."""
    if connection.vendor == "sqlite":
        _put_back_sqlite(source)
    else:
        load_postgres(source, emptied=True)


def _put_back_sqlite(source: Path) -> None:
    live = Path(settings.DATABASES["default"]["NAME"])
    beside = live.with_name(f"{live.name}.restoring")
    try:
        shutil.copyfile(source, beside)
        durable.sync(beside)
    except OSError:
        beside.unlink(missing_ok=True)
        raise
    if live.exists():
        live.replace(live.with_name(f"{live.name}.before-restore"))
    for suffix in ("-wal", "-shm"):
        live.with_name(live.name + suffix).unlink(missing_ok=True)
    beside.replace(live)


def load_postgres(source: Path, name: str | None = None, *, emptied: bool = False) -> None:
    """Load a dump into a database (the studio's own unless named), in one transaction."""
    with tempfile.TemporaryDirectory() as scratch:
        script, emptying = Path(scratch) / "restore.sql", Path(scratch) / "empty.sql"
        emptying.write_text(EMPTY_POSTGRES if emptied else "")
        # An extension is the server's, and needs its administrator to be added.
        parts = Path(scratch) / "parts"
        listed = run("pg_restore", "--list", str(source)).splitlines()
        parts.write_text("\n".join(line for line in listed if " EXTENSION " not in line))
        taken = ("--no-owner", "--no-privileges", f"--use-list={parts}", f"--file={script}")
        run("pg_restore", *taken, str(source))
        options = ("--quiet", "--no-psqlrc", "--single-transaction", "--set=ON_ERROR_STOP=1")
        place = f"--dbname={postgres.address(name)}"
        run("psql", *options, f"--file={emptying}", f"--file={script}", place)


def create_postgres(name: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            sql.SQL("CREATE DATABASE {} TEMPLATE template0").format(sql.Identifier(name))
        )


def drop_postgres(name: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql.SQL("DROP DATABASE IF EXISTS {}").format(sql.Identifier(name)))


def run(program: str, *arguments: str) -> str:
    """Run one of PostgreSQL's programs; what it prints. The password goes by the environment."""
    if shutil.which(program) is None:
        raise BackupError(f"{program} was not found; install PostgreSQL's client programs")
    environment = os.environ | {"PGPASSWORD": postgres.password()}
    done = subprocess.run(
        [program, *arguments], env=environment, capture_output=True, text=True, check=False
    )
    if "lock timeout" in done.stderr:
        raise BackupError("the studio is still running; stop web and workers, then try again")
    if done.returncode:
        raise BackupError(f"{program} failed: {done.stderr.strip()[-500:]}")
    return done.stdout

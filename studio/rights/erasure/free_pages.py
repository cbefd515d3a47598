"""What the database leaves behind of deleted rows, and how it is overwritten.

**SQLite** overwrites with noughts what is deleted (``secure_delete``, :mod:`studio.environment`),
in the write-ahead log first; the log is then taken into the file and cut. Rows that were once moved
from page to page have left bytes in the gaps of a page, as was seen in a large studio: so the file
is written anew (``VACUUM``, four seconds for 10,000 clips); for one clip only where it is found.

**PostgreSQL** moves rows within their pages as well, and marks room as free without overwriting
it: the tables that had rows of people are written anew (``VACUUM FULL``), statistics too. What was
deleted is copied along while anybody still reads what there was before, a backup or an analysis;
PostgreSQL says how many rows that were, and the table is written anew until there are none.

Not covered, here as anywhere: blocks that a file system or a flash disk has set aside without
overwriting them, PostgreSQL's own write-ahead log until it is recycled, and copies that an archive
of that log or the machine's snapshots keep.
"""

import logging
import re
import subprocess
import sys
import time
from collections.abc import Iterable
from pathlib import Path

from django.db import OperationalError, connection
from django.utils.translation import gettext as _
from psycopg import sql

from . import search_file

log = logging.getLogger(__name__)

AT_MOST_BYTES = 2 << 30  # what is larger is written anew by a command alone, in a quiet hour
PATIENCE_S = 30.0  # for readers that hold the write-ahead log


class Busy(Exception):
    """Somebody holds the database for longer than is waited for here."""


def overwrite(tables: Iterable[str], needles: Iterable[str] | None, *, all_sizes=False) -> bool:
    """Overwrite what was deleted of these tables; whether it is all done.

    ``needles`` are what was erased: an SQLite file in which none of them is found is left as it
    is; None writes it anew in any case. Call it outside a transaction.

    Raises
    ------
    Busy
    """
    if connection.vendor == "sqlite":
        return _overwrite_sqlite(needles, all_sizes)
    return _overwrite_postgres(list(tables), all_sizes)


def forget_earlier() -> None:
    """Remove the database that a restore kept beside: it still has what is being erased."""
    if connection.vendor == "sqlite":
        path = Path(connection.settings_dict["NAME"])
        path.with_name(f"{path.name}.before-restore").unlink(missing_ok=True)


# -- SQLite --------------------------------------------------------------------------------


def _overwrite_sqlite(needles: Iterable[str] | None, all_sizes: bool) -> bool:
    path = Path(connection.settings_dict["NAME"])
    done = _cut_log()
    if needles is not None and not _holds_any(path, needles):
        return done
    if path.stat().st_size > AT_MOST_BYTES and not all_sizes:
        log.warning("the database is to be written anew: run `studio overwrite` in a quiet hour")
        return False
    begun = time.monotonic()
    try:
        with connection.cursor() as cursor:
            cursor.execute("VACUUM")
    except OperationalError as error:
        if "locked" in str(error):
            raise Busy(_("somebody writes to the database")) from None
        log.warning("the database was not written anew (%s): run `studio overwrite`", error)
        return False
    log.info("the database was written anew in %.1f s", time.monotonic() - begun)
    return _cut_log()


def _cut_log() -> bool:
    """Take the write-ahead log into the file and cut it; whether no reader stood in the way."""
    until = time.monotonic() + PATIENCE_S
    while True:
        with connection.cursor() as cursor:
            busy = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        if not busy:
            return True
        if time.monotonic() > until:
            log.warning("the write-ahead log could not be cut: somebody reads all the time")
            return False
        time.sleep(0.2)


def _holds_any(path: Path, needles: list[str]) -> bool:
    """Whether a file has any of these words; JSON writes letters beyond ASCII in its own way.

    A search that does not come to its end counts as found: then the file is written anew.
    """
    words = {form.hex() for word in needles for form in forms_of(word)}
    command = [sys.executable, "-I", search_file.__file__, str(path)]
    return subprocess.run(command, input="\n".join(words), text=True).returncode != 0


def forms_of(word: str) -> set[bytes]:
    """How a word may stand in a file: as UTF-8, and escaped as in JSON."""
    escaped = word.encode("ascii", "backslashreplace")
    return {word.encode(), escaped} - {b""}


# -- PostgreSQL ----------------------------------------------------------------------------


def _overwrite_postgres(tables: list[str], all_sizes: bool) -> bool:
    done = True
    for table in [*dict.fromkeys(tables), "pg_catalog.pg_statistic"]:
        done = _write_anew(table, all_sizes) and done
    return done


def _write_anew(table: str, all_sizes: bool) -> bool:
    """Whether the table was written anew; one that is large gets a plain VACUUM.

    Raises
    ------
    Busy
        Where somebody holds the table, or still reads what was deleted.
    """
    name = sql.Identifier(*table.split("."))
    analyse = sql.SQL("") if "." in table else sql.SQL(", ANALYZE")
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_total_relation_size(%s::regclass)", [name.as_string(None)])
        if cursor.fetchone()[0] > AT_MOST_BYTES and not all_sizes:
            log.warning("%s is to be written anew: run `studio overwrite` in a quiet hour", table)
            cursor.execute(sql.SQL("VACUUM {}").format(name))
            return False
        cursor.execute("SET lock_timeout = '5s'")
        try:
            _vacuum_full(cursor, sql.SQL("VACUUM (FULL, VERBOSE{}) {}").format(analyse, name))
        except OperationalError as error:
            raise Busy(
                _("somebody reads %(table)s: %(strip)s")
                % {"table": table, "strip": str(error).strip()}
            ) from None
        finally:
            cursor.execute("RESET lock_timeout")
    return True


def _vacuum_full(cursor, command: sql.Composed) -> None:
    """Write a table anew until nothing that was deleted is copied along."""
    until = time.monotonic() + PATIENCE_S
    while kept := _dead_rows_kept(cursor, command):
        if time.monotonic() > until:
            raise Busy(_("%(kept)s deleted rows are still read by somebody") % {"kept": kept})
        time.sleep(0.5)


def _dead_rows_kept(cursor, command: sql.Composed) -> int:
    """Run it, and say how many deleted rows it could not leave behind.

    VERBOSE tells it in the detail of an INFO, as its first number in every language.
    """
    details: list[str] = []
    connected = connection.connection

    def note(said) -> None:
        details.append(said.message_detail or "")

    connected.add_notice_handler(note)
    try:
        cursor.execute(command)
    finally:
        connected.remove_notice_handler(note)
    numbers = [re.search(r"\d+", detail) for detail in details]
    return sum(int(found[0]) for found in numbers if found)

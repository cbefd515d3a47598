"""Which processes of the studio run, so that nothing replaces its stores under them.

Each process holds the lock of a file of its own in the data folder's ``running``; the kernel lets
go of it when the process ends, however it ends. On PostgreSQL it holds a shared advisory lock of
the database too, which processes on other machines see, and which goes with its connection.
Whoever replaces the stores holds ``.restoring``, and that lock alone; then no process begins.
"""

import fcntl
import os
import signal
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from uuid import uuid4

import psycopg
from django.conf import settings
from django.db import connection

from studio import postgres

ADVISORY_KEY = 7_301_949  # any number that no other program takes in this database
LOOK_S = 15.0  # how often a process looks whether its database lock still stands
CONNECT_S = 5
RESTORING = ".restoring"
HOLDERS = """
SELECT DISTINCT coalesce(nullif(application_name, ''), 'a process')
       || coalesce(' at ' || host(client_addr), '')
FROM pg_locks JOIN pg_stat_activity USING (pid)
WHERE locktype = 'advisory' AND objid = %s AND granted AND pid <> pg_backend_pid()
  AND pg_locks.database = (SELECT oid FROM pg_database WHERE datname = current_database())
"""


class StillRunning(Exception):
    """The stores may not be replaced: processes of the studio are at work on them."""


class Restoring(Exception):
    """A process may not begin: the stores are being replaced."""

    def __init__(self) -> None:
        super().__init__("a backup is being restored; start again when that has ended")


class _Held:
    """What this process holds; kept so that nobody lets go of it."""

    locks: list[int] = []
    watch: "_DatabaseLock | None" = None


def enter(name: str) -> None:
    """Say that this process, ``name`` such as web, is at work until it ends.

    Raises
    ------
    Restoring
        While a backup is being restored.
    """
    _Held.locks.append(_hold(name))
    if connection.vendor == "postgresql":
        _Held.watch = _DatabaseLock(name)
        _Held.watch.begin()


@contextmanager
def entered(name: str) -> Iterator[None]:
    """As :func:`enter`, for one piece of work; on this machine's other processes' word alone."""
    handle = _hold(name)
    try:
        yield
    finally:
        os.close(handle)


@contextmanager
def nobody_else() -> Iterator[None]:
    """No process of the studio is at work, and none begins, until the body has ended.

    Raises
    ------
    StillRunning
        When some are; the words name them.
    """
    lock = _restoring()
    try:
        _refuse(others())
        if connection.vendor == "postgresql":
            with _database_to_itself():
                yield
        else:
            yield
    finally:
        os.close(lock)


def others() -> list[str]:
    """The names of the processes at work on this machine's data folder, each once."""
    names = set()
    for path in _folder().glob("[!.]*"):
        handle = _locked(path, fcntl.LOCK_EX)
        if handle is None:
            names.add(path.name.partition(".")[0])
        else:  # its process has ended
            path.unlink(missing_ok=True)
            os.close(handle)
    return sorted(names)


def _restoring() -> int:
    """The lock of a restore; a process that just begins has it for a moment."""
    until = time.monotonic() + 1.0
    while (lock := _locked(_folder() / RESTORING, fcntl.LOCK_EX)) is None:
        if time.monotonic() > until:
            raise StillRunning("another restore is under way; wait until it has ended")
        time.sleep(0.05)
    return lock


def _refuse(names: list[str]) -> None:
    if names:
        raise StillRunning(
            f"the studio is still running ({', '.join(names)}), and nothing was changed. Stop it "
            "(systemctl stop studio.target, or Ctrl-C where `serve` runs), then try again"
        )


def _folder() -> Path:
    folder = Path(settings.STUDIO_DATA) / "running"
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def _hold(name: str) -> int:
    """A lock of this process's own, unless a restore is under way."""
    others()  # what ended processes left goes
    while True:
        path = _folder() / f"{name}.{os.getpid()}.{uuid4().hex[:8]}"
        handle = _locked(path, fcntl.LOCK_EX, make=True)
        if handle is not None and path.exists():  # else it was just taken for a left-over
            break
    # First one's own lock, then the other's: of two that begin at once, one sees the other.
    restoring = _locked(_folder() / RESTORING, fcntl.LOCK_SH)
    if restoring is None:
        path.unlink(missing_ok=True)
        os.close(handle)
        raise Restoring
    os.close(restoring)
    return handle


def _locked(path: Path, how: int, make: bool = False) -> int | None:
    """A handle that holds the file's lock; none when another has it, or it has gone."""
    make = make or path.name == RESTORING
    try:
        handle = os.open(path, os.O_RDWR | (os.O_CREAT if make else 0), 0o600)
    except FileNotFoundError:
        return None
    try:
        fcntl.flock(handle, how | fcntl.LOCK_NB)
    except OSError:
        os.close(handle)
        return None
    return handle


# -- PostgreSQL ------------------------------------------------------------------------------


def _connect(name: str) -> psycopg.Connection:
    return psycopg.connect(
        postgres.address(),
        password=postgres.password(),
        application_name=name,
        autocommit=True,
        connect_timeout=CONNECT_S,
    )


@contextmanager
def _database_to_itself() -> Iterator[None]:
    with closing(_connect("restore")) as own:
        if not _one(own, "SELECT pg_try_advisory_lock(%s)"):
            names = [row[0] for row in own.execute(HOLDERS, [ADVISORY_KEY])]
            _refuse(sorted(names) or ["a process that has just ended"])
        yield


def _one(own: psycopg.Connection, query: str) -> bool:
    row = own.execute(query, [ADVISORY_KEY]).fetchone()
    return bool(row and row[0])


class _DatabaseLock:
    """A connection that holds the shared lock; made anew when the database was restarted."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._own: psycopg.Connection | None = None

    def begin(self) -> None:
        """Take the lock; a database that is away is left to whoever needs it first."""
        with suppress(psycopg.OperationalError):
            self._take()
        threading.Thread(target=self._keep, name="running", daemon=True).start()

    def _take(self) -> None:
        own = _connect(self._name)
        if not _one(own, "SELECT pg_try_advisory_lock_shared(%s)"):
            own.close()
            raise Restoring
        self._own = own

    def _keep(self) -> None:
        process = os.getpid()
        pause = threading.Event()
        while not pause.wait(LOOK_S):
            try:
                if self._own is None:
                    self._take()
                else:
                    self._own.execute("SELECT 1")
            except psycopg.Error:
                self._own = None
            except Restoring:  # the database came back, and is being replaced
                os.kill(process, signal.SIGTERM)
                return

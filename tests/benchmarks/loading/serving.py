"""The large studio under its own web process, with what the machine spends on it."""

import contextlib
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import psutil

from tests.deploy.processes import free_port, started, until

from .connections import Server
from .school import MEDIA_PATH, Size, keep, make, write_recording

PROCESSES = "2"


@dataclass
class Studio:
    """A served studio: where it answers, and the programs whose time counts."""

    server: Server
    tops: list[psutil.Process]

    def processor_s(self) -> float:
        """The processor time that the studio's programs have had so far, in seconds."""
        return sum(_spent(process) for top in self.tops for process in [top, *_below(top)])

    def memory_mb(self) -> float:
        """What the web processes hold in memory of their own, in MB."""
        return sum(one.memory_full_info().uss for one in _below(self.tops[0])) / 1e6


def _below(top: psutil.Process) -> list[psutil.Process]:
    return top.children(recursive=True)


def _spent(process: psutil.Process) -> float:
    """Its own, and that of those below it which have ended: a database's processes come and go."""
    with contextlib.suppress(psutil.NoSuchProcess):
        times = process.cpu_times()
        return times.user + times.system + times.children_user + times.children_system
    return 0.0


def set_up(data: Path, database: str = "", https: bool = False) -> None:
    """Settings for this process and its children, and an up-to-date database."""
    from studio.serving import REAL_STUDIO, prepare

    for name in REAL_STUDIO:  # what the shell may have set for a real one
        os.environ.pop(name, None)
    os.environ.update(STUDIO_DATA=str(data), DJANGO_SETTINGS_MODULE="studio.settings")
    os.environ.update(DATABASE_URL=database, WEB_PROCESSES=PROCESSES, LOG_LEVEL="WARNING")
    if https:
        os.environ.update(HTTPS="1", PROXY="1", MEDIA_BY_NGINX="1")
    prepare(with_demo=False)


def fill_sqlite(data: Path, kept: Path, size: Size, https: bool) -> None:
    """The large studio in SQLite: made once, then copied from where it is kept."""
    place = kept / size.name("sqlite3")
    if place.exists():
        data.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(place, data / "studio.sqlite3")
    set_up(data, https=https)
    if not place.exists():
        make(size, data / "media")
        _fold_in_the_log()
        keep(data / "studio.sqlite3", place)
    write_recording(data / "media")


def _fold_in_the_log() -> None:
    """Leave all of the database in its one file, and that file to nobody.

    Who copies a file that its own process has open in SQLite lets go of SQLite's locks with it
    (POSIX drops all of a process's locks when it closes any handle); the next program to close
    the database would then remove the log that this one still writes.
    """
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


def fill_postgres(data: Path, kept: Path, size: Size, https: bool, database: str) -> None:
    """The same in PostgreSQL, kept as its own dump, with fresh statistics."""
    from tests.servers import program

    place = kept / size.name("dump")
    options = ["--dbname", database, "--no-owner"]
    if place.exists():
        subprocess.run([program("pg_restore"), *options, str(place)], check=True)
    set_up(data, database, https=https)
    if not place.exists():
        make(size, data / "media")
        part = place.with_suffix(".part")
        command = [program("pg_dump"), "--format=custom", "--compress=1", f"--file={part}"]
        subprocess.run([*command, f"--dbname={database}"], check=True)
        part.replace(place)
    write_recording(data / "media")
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


@contextlib.contextmanager
def served(folder: Path, *, nginx: bool, also: list[psutil.Process]) -> Iterator[Studio]:
    """The web process, and nginx before it where that was asked for."""
    from django.conf import settings

    port = free_port()
    command = [sys.executable, "-m", "gunicorn", "-c", "python:studio.gunicorn_settings"]
    with contextlib.ExitStack() as stack:
        web = stack.enter_context(started(command, folder / "web.log", PORT=str(port)))
        until(lambda: _listens(port), 90, f"an answer; the log: {folder / 'web.log'}")
        server, tops = Server(port), [web, *also]
        if nginx:
            from tests.servers import Nginx

            front = Nginx(port, settings.MEDIA_ROOT)
            stack.callback(front.remove)
            _let_others_read(settings.MEDIA_ROOT)
            front.start()
            server = Server(front.port, secure=True)
            tops.append(psutil.Process(front._process.pid))
        yield Studio(server, tops)


def _let_others_read(media: Path) -> None:
    """nginx runs as somebody else, who has to get as far as the one recording."""
    path = media / MEDIA_PATH
    path.chmod(0o644)
    for folder in path.parents:
        if folder.stat().st_uid == os.geteuid() and folder != Path("/"):
            folder.chmod(folder.stat().st_mode | 0o111)


def _listens(port: int) -> bool:
    from tests.deploy.processes import socket

    with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 2):
        return True
    return False

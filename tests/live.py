"""A whole studio of real processes for tests: web, two workers, periodic, one supervisor.

It shares the test's database, queue and media folder, so that a test sees the same rows. Use
with ``django_db(transaction=True)``: nothing that is not committed is seen by others. Variables
given by name put it on other ground (see :mod:`tests.production`).
"""

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import psutil
from django.conf import settings

from studio import collecting
from tests.deploy.processes import running, started, until

START_S = 120.0
STOP_S = 40.0


@dataclass(frozen=True)
class LiveStudio:
    """A running studio: its address, its supervisor, and what it has said so far."""

    url: str
    supervisor: psutil.Process
    log_path: Path
    environment: dict[str, str]  # for commands that an operator runs beside it

    @property
    def log(self) -> str:
        return self.log_path.read_text()

    def worker(self, queue: str) -> psutil.Process:
        """The worker that takes this queue's messages."""
        return next(p for p in self.supervisor.children() if f"{queue},sweep" in p.cmdline())

    def stop(self) -> None:
        """End it as Ctrl-C does; nothing may be left."""
        family = [self.supervisor, *self.supervisor.children(recursive=True)]
        self.supervisor.send_signal(signal.SIGTERM)
        until(lambda: not running(family), STOP_S, "every process has ended")


def free_port() -> int:
    with contextlib.closing(socket.create_server(("127.0.0.1", 0))) as server:
        return server.getsockname()[1]


def live_studio(
    folder: Path, *, lend: bool = True, **variables: str
) -> contextlib.AbstractContextManager[LiveStudio]:
    """Start a studio on a free port, wait until it serves, stop it at the end."""
    if lend:
        lend_static_files(Path({**environment_of_tests(), **variables}["STUDIO_DATA"]))
    return _live(folder, ["studio", "serve"], variables)


def lend_static_files(data: Path) -> None:
    """Give a new data folder the static files of this run's own, which are the same."""
    made, wanted = Path(settings.STATIC_ROOT), data / "static"
    if (made / collecting.MADE_OF).is_file() and not wanted.exists():
        data.mkdir(mode=0o700, parents=True, exist_ok=True)
        shutil.copytree(made, wanted, copy_function=os.link)


@contextlib.contextmanager
def live_web(folder: Path, **variables: str) -> Iterator[LiveStudio]:
    """Its web process alone, for pages that wait for no worker."""
    environment = {**environment_of_tests(), **variables}
    lend_static_files(Path(environment["STUDIO_DATA"]))
    prepared = [sys.executable, "-m", "studio", "prepare"]
    subprocess.run(prepared, check=True, env={**os.environ, **environment})
    gunicorn = ["gunicorn", "-c", "python:studio.gunicorn_settings"]
    with _live(folder, gunicorn, variables) as running:
        yield running


def environment_of_tests() -> dict[str, str]:
    return {
        "DJANGO_SETTINGS_MODULE": "studio.settings",
        "STUDIO_DATA": str(settings.STUDIO_DATA),
        "DATABASE_URL": "sqlite:///" + str(settings.DATABASES["default"]["NAME"]),
        "WEB_PROCESSES": "1",
        "PYTHONPATH": os.pathsep.join(sys.path),
    }


@contextlib.contextmanager
def _live(folder: Path, module: list[str], variables: dict[str, str]) -> Iterator[LiveStudio]:
    port, log = free_port(), folder / "studio.log"
    environment = {**environment_of_tests(), "PORT": str(port), **variables}
    with started([sys.executable, "-m", *module], log, **environment) as supervisor:
        all_of_it = {**os.environ, **environment}
        studio = LiveStudio(f"http://127.0.0.1:{port}", supervisor, log, all_of_it)
        try:
            until(lambda: answers(studio.url), START_S, f"an answer; the log: {log}")
            yield studio
            studio.stop()
        except BaseException:
            print(studio.log)
            raise


def answers(url: str) -> bool:
    # The header is what a web server in front would say; without one it is not read.
    request = urllib.request.Request(f"{url}/log-in/", headers={"X-Forwarded-Proto": "https"})
    try:
        with urllib.request.urlopen(request, timeout=2) as response:
            return response.status == 200
    except OSError:
        return False

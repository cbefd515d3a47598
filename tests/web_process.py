"""The studio's web process alone, for tests that need the real one and none of the workers.

It shares the test's database and a media folder. What it would hand to a worker stays in a queue
that nobody reads.
"""

import contextlib
import socket
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import psutil
from django.conf import settings as django_settings

from studio.serving import children
from tests.deploy.processes import started, until


@dataclass(frozen=True)
class Web:
    """The web process on a port, with the test's database and its own media folder."""

    port: int
    data: Path
    https: bool = False

    @property
    def url(self) -> str:
        return f"http://localhost:{self.port}"

    @contextlib.contextmanager
    def started(self, name: str = "web", **variables: str) -> Iterator[psutil.Process]:
        (command,) = [child.command for child in children() if child.name == "web"]
        environment = {
            "DJANGO_SETTINGS_MODULE": "studio.settings",
            "STUDIO_DATA": str(self.data),
            "DATABASE_URL": f"sqlite:///{django_settings.DATABASES['default']['NAME']}",
            "SECRET_KEY": django_settings.SECRET_KEY,
            "PORT": str(self.port),
            "WEB_PROCESSES": "1",
            "HTTPS": str(int(self.https)),
            "PYTHONPATH": ":".join(sys.path),
            **variables,
        }
        log = self.data / f"{name}.log"
        with started(list(command), log, **environment) as process:
            until(self._answers, 60, f"an answer; the log: {log}")
            yield process

    def _answers(self) -> bool:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 2):
            return True
        return False

"""A whole studio that can be killed from the top, and stands up again in the same place."""

import contextlib
import os
import subprocess
import sys
from pathlib import Path

import psutil

from studio.processes import die_with_parent
from tests.deploy.processes import ROOT, free_port, running, until
from tests.live import START_S, STOP_S, answers, environment_of_tests


class StandingUp:
    """``python -m studio serve``, as a service manager keeps it: started again when it died."""

    def __init__(self, folder: Path, variables: dict[str, str]) -> None:
        port = free_port()
        self.url, self._log = f"http://127.0.0.1:{port}", folder / "studio.log"
        self._environment = {**os.environ, **environment_of_tests(), "PORT": str(port), **variables}
        self._process: subprocess.Popen | None = None

    def __enter__(self) -> "StandingUp":
        self._start()
        return self

    def __exit__(self, *error: object) -> None:
        family = self._all()
        assert self._process is not None
        if error[0] is not None:
            print(self._log.read_text()[-20_000:], file=sys.stderr)
        if error[0] is None:
            self._process.terminate()
            self._process.wait(STOP_S)
            until(lambda: not running(family), STOP_S, "every process has ended")
        for process in self._all() if error[0] else []:
            with contextlib.suppress(psutil.NoSuchProcess):
                process.kill()

    def die_and_rise(self) -> None:
        """Kill the supervisor, which takes everything along; start it again."""
        assert self._process is not None
        family = self._all()
        self._process.kill()
        self._process.wait()
        until(lambda: not running(family), 20, "nothing outlives the supervisor")
        self._start()

    def children(self) -> list[psutil.Process]:
        return self._top().children()

    def family(self) -> list[psutil.Process]:
        return self._top().children(recursive=True)

    def worker(self, queue: str) -> psutil.Process:
        """The worker that takes this queue's messages."""
        return next(p for p in self.children() if f"{queue},sweep" in p.cmdline())

    def _start(self) -> None:
        parent = os.getpid()
        with self._log.open("a") as out:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "studio", "serve"],
                cwd=ROOT,
                env=self._environment,
                stdout=out,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                preexec_fn=lambda: die_with_parent(parent),
            )
        until(lambda: answers(self.url), START_S, f"an answer; the log: {self._log}")

    def _top(self) -> psutil.Process:
        assert self._process is not None
        return psutil.Process(self._process.pid)

    def _all(self) -> list[psutil.Process]:
        with contextlib.suppress(psutil.NoSuchProcess):
            return [self._top(), *self.family()]
        return []

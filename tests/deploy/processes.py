"""Processes for the tests of the supervisor: start it apart, and see what is left of it."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psutil

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 30.0  # a machine that does much else may take so long for anything


def until(true: Callable[[], object], seconds: float, what: str) -> object:
    """Wait until a condition gives something true, and return that.

    It is no stopwatch: what is to be there soon is waited for with patience all the same.
    """
    seconds = max(seconds, PATIENCE_S)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := true():
            return found
        time.sleep(0.05)
    raise AssertionError(f"not within {seconds:g} s: {what}")


def running(processes: list[psutil.Process]) -> list[psutil.Process]:
    """Those that still run; an ended one that nobody has collected does not count."""
    return [process for process in processes if _state(process) != psutil.STATUS_ZOMBIE]


def _state(process: psutil.Process) -> str:
    try:
        return process.status() if process.is_running() else psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return psutil.STATUS_ZOMBIE


def command_of(process: psutil.Process) -> str:
    """The command of a process; nothing when it has just ended."""
    try:
        return " ".join(process.cmdline())
    except psutil.NoSuchProcess:
        return ""


@contextlib.contextmanager
def started(command: list[str], log: Path, **environment: str) -> Iterator[psutil.Process]:
    """Run a command in a session of its own; afterwards kill what is left of it."""
    with log.open("w") as out:
        process = subprocess.Popen(
            command,
            cwd=ROOT,
            env={**os.environ, **environment},
            stdout=out,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
    top = psutil.Process(process.pid)
    try:
        yield top
    finally:
        family = [*top.children(recursive=True), top] if running([top]) else []
        for member in family:
            with contextlib.suppress(psutil.NoSuchProcess):
                member.send_signal(signal.SIGKILL)
        process.wait(timeout=10)


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return probe.getsockname()[1]


def python(code: str) -> list[str]:
    return [sys.executable, "-c", code]

"""Work at which workers have died, done by a process of its own, so that only that one dies.

The process is a child of the worker's and is killed with it. It takes over the row that was
claimed, works, and records the end itself. Where it dies instead, the worker that still lives
counts that as an attempt that failed: so what kills whoever opens it ends parked.
"""

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from typing import TypeVar

from studio import media
from studio.processes import die_with_parent

from .rows import Leased

LONGEST_S = 50 * 60.0  # below the time limit of a task, which would kill the worker

L = TypeVar("L", bound=Leased)


def run(held: L, what: str, action: Callable[[L], None]) -> None:
    """Do ``action`` on ``held`` in a process of its own.

    Raises
    ------
    media.Failed
        ``killed`` when that process died, ``timeout`` when it did not end.
    """
    named = f"{action.__module__}.{action.__qualname__}"
    command = [sys.executable, "-m", "studio", "work_alone", held._meta.label, str(held.pk)]
    parent = os.getpid()
    child = subprocess.Popen(
        [*command, held.lease_token, named, what],
        stdin=subprocess.DEVNULL,
        start_new_session=True,
        preexec_fn=lambda: die_with_parent(parent),
    )
    try:
        code = child.wait(LONGEST_S)
    except subprocess.TimeoutExpired as error:
        raise media.Failed("timeout", limit_s=round(LONGEST_S)) from error
    finally:
        _kill_group(child)
    if code:
        raise media.Failed("killed", detail=f"the process that worked alone ended with {code}")


def _kill_group(child: subprocess.Popen) -> None:
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(child.pid, signal.SIGKILL)
    child.wait()

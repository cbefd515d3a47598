"""What the kernel can be told about processes, so that none is left behind (Linux).

A process may ask to be killed when its parent dies (``PR_SET_PDEATHSIG``), and a parent may
ask to inherit the orphans of its descendants (``PR_SET_CHILD_SUBREAPER``); see prctl(2).
"""

import ctypes
import os
import signal
from pathlib import Path

PR_SET_PDEATHSIG = 1
PR_SET_CHILD_SUBREAPER = 36

_libc = ctypes.CDLL(None, use_errno=True)


def _prctl(option: int, value: int) -> None:
    if _libc.prctl(option, value, 0, 0, 0) != 0:
        code = ctypes.get_errno()
        raise OSError(code, f"prctl({option}, {value}): {os.strerror(code)}")


def die_with_parent(parent: int) -> None:
    """Be killed when the parent, whose process id this is, dies.

    The parent may have died before the kernel was asked: then end here.
    """
    _prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != parent:
        os.kill(os.getpid(), signal.SIGKILL)


def adopt_orphans() -> None:
    """Become the parent of every descendant whose own parent dies."""
    _prctl(PR_SET_CHILD_SUBREAPER, 1)


def children_of(pid: int) -> set[int]:
    """The process ids of a process's children, zombies included."""
    try:
        tasks = list(Path(f"/proc/{pid}/task").iterdir())
        return {int(child) for task in tasks for child in (task / "children").read_text().split()}
    except FileNotFoundError:  # the process ended, or the kernel keeps no such list
        return {child for child, parent in _parents().items() if parent == pid}


def _parents() -> dict[int, int]:
    """The parent of each process on this machine, by process id; zombies included."""
    found = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                # "pid (name) state ppid ...": the name may hold spaces and brackets.
                fields = (entry / "stat").read_text(errors="replace").rpartition(")")[2].split()
            except (FileNotFoundError, ProcessLookupError):
                continue
            found[int(entry.name)] = int(fields[1])
    return found

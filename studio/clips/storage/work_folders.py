"""A folder on the bench for each working process, locked while that process lives.

The kernel lets go of the lock when the process ends, however it ends. So what a killed worker
left half made can be told from what another is making just now, and goes at the next sweep.
"""

import fcntl
import os
import shutil
from pathlib import Path
from uuid import uuid4

from .stores import store

PREFIX = "process-"

_held: tuple[int, Path, int] | None = None  # process id, its folder, the handle with the lock


def path(suffix: str = "") -> Path:
    """A fresh name in this process's folder, where a file is going to be made."""
    return _folder(store().bench()) / f"{uuid4().hex}{suffix}"


def clear_ended() -> list[str]:
    """Remove the folders of processes that have ended; say which files were left in them."""
    gone = []
    for folder in sorted(store().bench().glob(f"{PREFIX}*")):
        handle = _locked(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if handle is None:
            continue
        left = [path for path in sorted(folder.rglob("*")) if path.is_file()]
        shutil.rmtree(folder, ignore_errors=True)
        os.close(handle)
        gone += [f"{folder.parent.name}/{path.relative_to(folder.parent)}" for path in left]
    return gone


def _folder(bench: Path) -> Path:
    """This process's folder; a process that was forked makes one of its own."""
    global _held
    if _held and _held[0] == os.getpid():
        _, folder, handle = _held
        if folder.parent == bench and folder.is_dir():
            return folder
        os.close(handle)
    while True:
        folder = bench / f"{PREFIX}{uuid4().hex}"
        folder.mkdir()
        made = _locked(folder, fcntl.LOCK_EX)
        if made is not None:  # else a sweep came in between, and took it for a left-over
            _held = (os.getpid(), folder, made)
            return folder


def _locked(folder: Path, how: int) -> int | None:
    """A handle that holds the folder's lock; none when another has it, or it is gone."""
    try:
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    except FileNotFoundError:
        return None
    try:
        fcntl.flock(handle, how)
    except OSError:
        os.close(handle)
        return None
    if not folder.is_dir():
        os.close(handle)
        return None
    return handle

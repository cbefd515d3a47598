"""Where the web processes keep what they count, so that whichever is asked can tell all of it.

prometheus-client keeps it in files that are mapped into memory (its multiprocess mode). They lie
in memory where the machine has such a folder: a disk that is full would end a process that writes
to a mapped file. The folder is emptied at each start. Imported before Django is.
"""

import contextlib
import hashlib
import os
import shutil
import tempfile
from pathlib import Path

VARIABLE = "PROMETHEUS_MULTIPROC_DIR"
IN_MEMORY = Path("/dev/shm")


def prepare(data: Path, port: int) -> Path:
    """An empty folder for the processes that serve this data on this port; the variable says it."""
    told_apart = hashlib.sha256(f"{data}:{port}".encode()).hexdigest()[:16]
    above = IN_MEMORY if os.access(IN_MEMORY, os.W_OK | os.X_OK) else data
    folder = above / f"studio-metrics-{os.getuid()}-{told_apart}"
    with contextlib.suppress(FileNotFoundError, NotADirectoryError):
        if _is_ours(folder):
            shutil.rmtree(folder)
    try:
        folder.mkdir(mode=0o700)
    except FileExistsError:  # another's, in a folder where anybody may make some
        folder = Path(tempfile.mkdtemp(prefix="studio-metrics-", dir=above))
    os.environ[VARIABLE] = str(folder)
    return folder


def remove() -> None:
    """At the end of all web processes."""
    if folder := os.environ.get(VARIABLE):
        shutil.rmtree(folder, ignore_errors=True)


def _is_ours(folder: Path) -> bool:
    return not folder.is_symlink() and folder.stat().st_uid == os.getuid()

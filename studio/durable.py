"""Files that outlive a crash: a name leads to the whole file or to none (fsync(2), rename(2))."""

import os
from pathlib import Path


def sync(path: Path) -> None:
    """Have a finished file's content on the disk."""
    with path.open("rb") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Make names that were added, changed or taken away in ``folder`` durable."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def publish(made: Path, target: Path) -> None:
    """Move ``made`` to ``target``, in one file system: a crash leaves the whole file or none."""
    sync(made)
    made.replace(target)
    sync_folder(target.parent)


def write(path: Path, text: str, mode: int = 0o666) -> None:
    """Write a small file, or another in its place; ``mode`` is lessened by the umask as ever."""
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode), "w") as file:
        file.write(text)
    publish(beside, path)

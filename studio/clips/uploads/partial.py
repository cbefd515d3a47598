"""The file of an unfinished upload: it grows on the bench, under a lock, and is synced as it does.

The lock is the kernel's (flock), so that a killed process lets go of it. One writer at a time.
"""

import errno
import fcntl
import os
import shutil
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from uuid import UUID

from studio import durable
from studio.clips.storage.stores import store

# What a kill can cost at most: this many bytes, or this many seconds of sending.
SYNC_BYTES = 4 << 20
SYNC_S = 2.0
# Uploads stop before they take the last room: the database on the same disk needs some.
SPARE_BYTES = 64 << 20
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


class Busy(Exception):
    """Somebody else is writing to it just now."""


class Missing(Exception):
    """The file is not there, or shorter than its row says."""


def path(pk: UUID) -> Path:
    return store().bench() / f"upload-{pk.hex}"


def create(pk: UUID) -> None:
    """An empty file, there even after a loss of power."""
    path(pk).touch(exist_ok=False)
    durable.sync_folder(path(pk).parent)


def adopt(pk: UUID, made: Path) -> None:
    """Take a finished file of the bench for the upload's."""
    made.rename(path(pk))
    durable.sync_folder(path(pk).parent)


def remove(pk: UUID) -> None:
    path(pk).unlink(missing_ok=True)


def holds(pk: UUID, size_bytes: int) -> bool:
    """Whether the file is there with at least so many bytes."""
    try:
        return path(pk).stat().st_size >= size_bytes
    except FileNotFoundError:
        return False


def need_room(size_bytes: int) -> None:
    """OSError (ENOSPC) unless so many bytes fit, with something to spare."""
    if shutil.disk_usage(store().bench()).free < size_bytes + SPARE_BYTES:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@contextmanager
def locked(pk: UUID) -> Iterator[int]:
    """A handle of the file, which nobody else writes to while it is open.

    Raises
    ------
    Busy, Missing
    """
    try:
        handle = os.open(path(pk), os.O_RDWR)
    except FileNotFoundError:
        raise Missing from None
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise Busy from None
        try:
            yield handle
        finally:
            # Closing alone would leave it locked while a child that another thread has just
            # forked still holds a copy of the handle.
            fcntl.flock(handle, fcntl.LOCK_UN)
    finally:
        os.close(handle)


def append(
    handle: int, offset: int, chunks: Iterable[bytes], synced: Callable[[int], None]
) -> None:
    """Write what comes after ``offset`` and call ``synced`` with each new offset that is durable.

    Whatever ends it (the connection, the disk), what was written whole is synced and said first.

    Raises
    ------
    Exception
        What reading ``chunks``, writing (OSError) or ``synced`` raised.
    """
    _cut(handle, offset)
    durable, at, due = offset, offset, time.monotonic() + SYNC_S
    try:
        for chunk in chunks:
            view = memoryview(chunk)
            while view:
                written = os.write(handle, view)
                view, at = view[written:], at + written
            if at - durable >= SYNC_BYTES or time.monotonic() >= due:
                need_room(0)
                durable, due = _sync(handle, at, synced), time.monotonic() + SYNC_S
    except BaseException:
        with suppress(OSError):
            _sync(handle, at, synced)
        raise
    if at > durable:
        _sync(handle, at, synced)


def append_checked(
    handle: int, offset: int, chunks: Iterable[bytes], hasher, matches: Callable[[bytes], bool]
) -> int | None:
    """Write a chunk that counts only if its hash is right: its end, synced; None when it is not."""
    _cut(handle, offset)
    at = offset
    for chunk in chunks:
        hasher.update(chunk)
        view = memoryview(chunk)
        while view:
            written = os.write(handle, view)
            view, at = view[written:], at + written
    if not matches(hasher.digest()):
        _cut(handle, offset)
        return None
    os.fsync(handle)
    return at


def _cut(handle: int, offset: int) -> None:
    if os.fstat(handle).st_size < offset:
        raise Missing
    os.ftruncate(handle, offset)
    os.lseek(handle, offset, os.SEEK_SET)


def _sync(handle: int, at: int, synced: Callable[[int], None]) -> int:
    os.fsync(handle)
    synced(at)
    return at

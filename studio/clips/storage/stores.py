"""Where files rest: the media folder of this machine, or an S3-compatible object store.

Both keep files under names such as ``clips/ab/ab…/original``; both take a finished file from
scratch (the *bench*), whole or not at all. :func:`store` gives the one that the settings name.
"""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Protocol

from django.conf import settings
from django.core.files import File
from django.core.files.storage import storages

from studio import durable

BLOCK_BYTES = 1 << 16


@dataclass(frozen=True, slots=True)
class Entry:
    """A file at rest: its name, size in bytes, and when it was written (POSIX seconds)."""

    name: str
    size_bytes: int
    written_at: float


class Store(Protocol):
    """What both stores can do. ``name`` is a path with slashes, below the store's root."""

    def bench(self) -> Path:
        """The folder in which files are made, on a disk of this machine."""

    def put(self, made: Path, name: str) -> None:
        """Take over a finished, synced file from the bench."""

    def local(self, name: str):
        """A context with the file on a disk of this machine, to be read only."""

    def read(self, name: str, first: int, length: int) -> Iterator[bytes]:
        """Bytes from ``first`` on, in blocks; FileNotFoundError at once when it is not there."""

    def size(self, name: str) -> int:
        """Size in bytes; FileNotFoundError when it is not there."""

    def delete(self, name: str) -> None:
        """Remove a file; one that is not there is no error."""

    def entries(self, below: str = "") -> Iterator[Entry]:
        """Every file at rest, or those below a folder; none when there is no such folder."""


def store() -> Store:
    """The store of the settings."""
    return ObjectStore() if settings.OBJECT_STORE else FolderStore()


class FolderStore:
    """The media folder: a rename within one file system, with the folder synced after it."""

    def __init__(self) -> None:
        self.root = Path(settings.MEDIA_ROOT)

    def bench(self) -> Path:
        bench = self.root / ".bench"
        bench.mkdir(parents=True, exist_ok=True)
        return bench

    def path(self, name: str) -> Path:
        return self.root / name

    def put(self, made: Path, name: str) -> None:
        target = self.path(name)
        target.parent.mkdir(parents=True, exist_ok=True)
        made.replace(target)
        durable.sync_folder(target.parent)

    @contextmanager
    def local(self, name: str) -> Iterator[Path]:
        yield self.path(name)

    def read(self, name: str, first: int, length: int) -> Iterator[bytes]:
        return _blocks(self.path(name).open("rb"), first, length)

    def size(self, name: str) -> int:
        return self.path(name).stat().st_size

    def delete(self, name: str) -> None:
        path = self.path(name)
        path.unlink(missing_ok=True)
        _remove_empty(path.parent, self.root)

    def entries(self, below: str = "") -> Iterator[Entry]:
        for path in (self.root / below).rglob("*"):
            try:
                if path.is_file():
                    stat = path.stat()
                    yield Entry(str(path.relative_to(self.root)), stat.st_size, stat.st_mtime)
            except FileNotFoundError:  # gone while we looked
                continue


class ObjectStore:
    """An S3-compatible store, through django-storages. An object appears whole or not at all."""

    def __init__(self) -> None:
        self.storage = storages["clips"]

    def bench(self) -> Path:
        bench = Path(settings.STUDIO_DATA) / "bench"
        bench.mkdir(parents=True, exist_ok=True)
        return bench

    def put(self, made: Path, name: str) -> None:
        with made.open("rb") as file:
            self.storage.save(name, File(file))
        made.unlink()

    @contextmanager
    def local(self, name: str) -> Iterator[Path]:
        with tempfile.NamedTemporaryFile(dir=self.bench(), prefix="copy-") as copy:
            shutil.copyfileobj(self._get(name)["Body"], copy)
            copy.flush()
            yield Path(copy.name)

    def read(self, name: str, first: int, length: int) -> Iterator[bytes]:
        part = self._get(name, Range=f"bytes={first}-{first + length - 1}")
        return part["Body"].iter_chunks(BLOCK_BYTES)

    def size(self, name: str) -> int:
        if not self.storage.exists(name):
            raise FileNotFoundError(name)
        return self.storage.size(name)

    def delete(self, name: str) -> None:
        self.storage.delete(name)

    def entries(self, below: str = "") -> Iterator[Entry]:
        for found in self.storage.bucket.objects.filter(Prefix=f"{below}/" if below else ""):
            yield Entry(found.key, found.size, found.last_modified.timestamp())

    def _get(self, name: str, **options) -> dict:
        """The store's answer; its body is read afterwards, as a stream."""
        try:
            return self.storage.bucket.Object(name).get(**options)
        except self.storage.connection.meta.client.exceptions.NoSuchKey:
            raise FileNotFoundError(name) from None


def _blocks(file: BinaryIO, first: int, length: int) -> Iterator[bytes]:
    with file:
        file.seek(first)
        while length > 0 and (block := file.read(min(BLOCK_BYTES, length))):
            length -= len(block)
            yield block


def _remove_empty(folder: Path, root: Path) -> None:
    while folder != root:
        try:
            folder.rmdir()
        except OSError:  # not empty, or gone already
            return
        folder = folder.parent

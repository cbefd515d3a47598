"""Files of backups by what is in them: each content once, whatever number of backups has it.

Stored files never change, so that a second backup only adds what is new. An object's name is the
SHA-256 of its content; what is encrypted lies apart for each recipient. Objects appear whole or
not at all.
"""

import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

from studio import durable

from . import encryption

FOLDER = "objects"
PART = ".part-"
DAMAGED = ".damaged"


@dataclass(frozen=True, slots=True)
class Kept:
    """An object: SHA-256 and size of its content, and of the file as it lies there."""

    sha256: str
    size_bytes: int
    file_sha256: str
    file_bytes: int


class Objects:
    """The objects in a place for backups that are encrypted for ``key``, or for nobody."""

    def __init__(self, place: Path, key: str = "", secret: Sequence = ()) -> None:
        self.root = place / FOLDER / encryption.folder_of(key)
        self.key, self._secret = key, secret
        self._ending = encryption.ENDING if key else ""

    def path(self, sha256: str) -> Path:
        return self.root / sha256[:2] / f"{sha256}{self._ending}"

    def has(self, kept: Kept) -> bool:
        """Whether it is there, with the size that it had; its bytes are not read."""
        try:
            return self.path(kept.sha256).stat().st_size == kept.file_bytes
        except FileNotFoundError:
            return False

    def put(self, source: Path) -> Kept:
        """Take in a file's content, under the name that the content gives it."""
        with source.open("rb") as file, self._part() as part:
            reading = encryption.Hashing(file)
            with part.open("wb") as out:
                writing = encryption.Hashing(out)
                encryption.seal(reading, writing, self.key)
                out.flush()
                os.fsync(out.fileno())
            kept = Kept(reading.sha256, reading.size_bytes, writing.sha256, writing.size_bytes)
            target = self.path(kept.sha256)
            target.parent.mkdir(parents=True, exist_ok=True)
            part.replace(target)
            durable.sync_folder(target.parent)
        return kept

    def take(self, kept: Kept, target: Path) -> None:
        """Write an object's content to ``target``, and see that it is what it was.

        Raises
        ------
        encryption.SealingError, FileNotFoundError
            When it cannot be opened, is not what it was, or is not there.
        """
        with self.path(kept.sha256).open("rb") as file, target.open("wb") as out:
            writing = encryption.Hashing(out)
            encryption.open_sealed(file, writing, self.key, self._secret)
        if writing.sha256 != kept.sha256:
            raise encryption.SealingError("it has other bytes than were stored")

    def fault(self, kept: Kept) -> str:
        """What is wrong with the file as it lies there; nothing needs to be opened for that."""
        path = self.path(kept.sha256)
        try:
            with path.open("rb") as file:
                reading = encryption.Hashing(file)
                while reading.read(1 << 20):
                    pass
        except FileNotFoundError:
            return f"{path} is missing"
        if reading.sha256 != kept.file_sha256:
            return f"{path} has other bytes than were stored"
        return ""

    def set_aside(self, kept: Kept) -> None:
        """Take a damaged object out of use, so that the next backup keeps its content anew."""
        path = self.path(kept.sha256)
        if path.exists():
            path.replace(path.with_name(path.name + DAMAGED))

    @contextmanager
    def _part(self) -> Iterator[Path]:
        self.root.mkdir(parents=True, exist_ok=True)
        part = self.root / f"{PART}{uuid4().hex}"
        try:
            yield part
        finally:
            part.unlink(missing_ok=True)


def remove_unnamed(place: Path, named: Iterable[Path]) -> int:
    """Remove the objects that no backup names; how many bytes that freed.

    Only while no backup is being made: what it has written is not named yet.
    """
    wanted, freed = set(named), 0
    for path in sorted((place / FOLDER).rglob("*"), reverse=True):
        if path.is_dir():
            if not any(path.iterdir()):
                path.rmdir()
        elif path not in wanted:
            freed += path.stat().st_size
            path.unlink()
    return freed

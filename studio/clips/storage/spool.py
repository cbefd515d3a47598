"""Making files: written on the bench, hashed, fsynced, then handed to the store whole.

A crash leaves at most a left-over on the bench or a file without a row; never a row without
its file. Names are ours alone: nothing of an uploaded name reaches the disk.
"""

import hashlib
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from uuid import UUID, uuid4

from django.utils.translation import gettext as _

from .stores import Store, store

CHUNK_BYTES = 1 << 20
# The folder of what stays for a day at most: in no backup, and nothing that verify asks about.
PASSING = "passing"
PASSING_S = 30 * 3600.0  # after which it goes, whoever forgot it


class TooLarge(Exception):
    """More bytes came than ``limit_bytes``."""

    def __init__(self, limit_bytes: int):
        super().__init__(
            _("more than %(limit_bytes)s bytes; send a shorter or smaller recording")
            % {"limit_bytes": limit_bytes}
        )
        self.limit_bytes = limit_bytes


@dataclass(frozen=True, slots=True)
class Spooled:
    """A finished file on the bench, with its SHA-256 in hex and size in bytes."""

    path: Path
    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Stored:
    """A file at rest: its name in the store, SHA-256 in hex, size in bytes."""

    path: str
    sha256: str
    size_bytes: int


def clip_folder(clip_id: UUID) -> str:
    """One folder a clip, spread over 256 parents."""
    name = clip_id.hex
    return f"clips/{name[:2]}/{name}"


def bench_path(suffix: str = "") -> Path:
    """A fresh name on the bench, where a file is going to be made."""
    return store().bench() / f"{uuid4().hex}{suffix}"


def spool(chunks: Iterable[bytes], limit_bytes: int) -> Spooled:
    """Write a stream to the bench and say what came.

    Raises
    ------
    TooLarge
        When more than ``limit_bytes`` arrive; nothing is kept.
    OSError
        When the disk refuses or the connection breaks; nothing is kept.
    """
    part = bench_path()
    digest, size = hashlib.sha256(), 0
    try:
        with part.open("wb") as out:
            for chunk in chunks:
                size += len(chunk)
                if size > limit_bytes:
                    raise TooLarge(limit_bytes)
                digest.update(chunk)
                out.write(chunk)
            out.flush()
            os.fsync(out.fileno())
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return Spooled(part, digest.hexdigest(), size)


def finished(made: Path) -> Spooled:
    """Sync and hash a file that a program made on the bench."""
    with made.open("rb") as file:
        os.fsync(file.fileno())
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return Spooled(made, digest, made.stat().st_size)


def keep(spooled: Spooled, name: str, into: Store | None = None) -> Stored:
    """Hand a finished file to the store."""
    (into or store()).put(spooled.path, name)
    return Stored(name, spooled.sha256, spooled.size_bytes)


def remove(name: str) -> None:
    store().delete(name)

"""Files below the media folder: written beside, fsynced, renamed, then the folder fsynced.

A crash leaves at most an orphan file with a ``.part`` name or without a row; never a row
without its file. Names are ours alone: nothing of an uploaded name reaches the disk.
"""

import hashlib
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from uuid import UUID, uuid4

from django.conf import settings

CHUNK_BYTES = 1 << 20


class TooLarge(Exception):
    """More bytes came than ``limit_bytes``."""

    def __init__(self, limit_bytes: int):
        super().__init__(f"more than {limit_bytes} bytes; send a shorter or smaller recording")
        self.limit_bytes = limit_bytes


@dataclass(frozen=True, slots=True)
class Stored:
    """A file at rest: path below the media folder, SHA-256 in hex, size in bytes."""

    path: str
    sha256: str
    size_bytes: int


def absolute(path: str) -> Path:
    """The place on disk of a path stored in a row."""
    return Path(settings.MEDIA_ROOT) / path


def clip_folder(clip_id: UUID) -> str:
    """One folder a clip, spread over 256 parents."""
    name = clip_id.hex
    return f"clips/{name[:2]}/{name}"


def part_path(folder: str, suffix: str = "") -> Path:
    """A fresh name beside the place where a file is going to stand."""
    target = absolute(folder)
    target.mkdir(parents=True, exist_ok=True)
    return target / f".{uuid4().hex}.part{suffix}"


def store_stream(chunks: Iterable[bytes], folder: str, name: str, limit_bytes: int) -> Stored:
    """Write a stream to ``folder/name`` and say what was written.

    Raises
    ------
    TooLarge
        When more than ``limit_bytes`` arrive; nothing is kept.
    OSError
        When the disk refuses; nothing is kept.
    """
    part = part_path(folder)
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
        return _settle(part, folder, name, digest.hexdigest(), size)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def store_part(part: Path, folder: str, name: str) -> Stored:
    """Make a file that was written beside (see :func:`part_path`) the one at ``folder/name``."""
    digest, size = hashlib.sha256(), 0
    with part.open("rb") as made:
        while chunk := made.read(CHUNK_BYTES):
            digest.update(chunk)
            size += len(chunk)
        os.fsync(made.fileno())
    return _settle(part, folder, name, digest.hexdigest(), size)


def remove(path: str) -> None:
    absolute(path).unlink(missing_ok=True)


def _settle(part: Path, folder: str, name: str, sha256: str, size_bytes: int) -> Stored:
    target = absolute(folder) / name
    part.replace(target)
    _fsync_folder(target.parent)
    return Stored(f"{folder}/{name}", sha256, size_bytes)


def _fsync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

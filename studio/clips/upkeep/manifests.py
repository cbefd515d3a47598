"""A place for backups, and what each backup in it says of itself.

A *place* is a folder with ``objects`` (every content once, :mod:`.objects`), ``erased`` (what must
not come back) and a folder for each backup, named by its time in UTC: ``database`` (a snapshot),
``settings`` (only where backups are encrypted) and ``manifest.json``, which comes last: without it
a backup was not finished. The manifest is never encrypted; it holds ids, sizes and hashes.

Version 1, which has its files in a folder ``media`` of its own, can still be restored.
"""

import fcntl
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from studio import durable, permissions

from .objects import Kept, Objects
from .verification import Named

VERSION = 2
READABLE = (1, 2)
DATABASE, MEDIA, SETTINGS, MANIFEST = "database", "media", "settings", "manifest.json"
LOCK = ".lock"


class BackupError(Exception):
    """Why it could not be done, and what to do."""


@dataclass(frozen=True, slots=True)
class Backup:
    """A finished backup: its folder and its manifest."""

    folder: Path
    manifest: dict

    @property
    def key(self) -> str:
        """The public key that it is encrypted for; empty when it is not."""
        return self.manifest.get("key", "")

    @property
    def made_at(self) -> str:
        return self.manifest["made_at"]

    def named(self) -> list[Named]:
        """The files of its rows."""
        parts = ("owner", "path", "sha256", "size_bytes")
        return [Named(*(entry[part] for part in parts)) for entry in self.manifest["files"]]

    def kept(self) -> dict[str, Kept]:
        """The object of each file, by its path; none for a backup of version 1."""
        return {
            entry["path"]: Kept(**entry["object"])
            for entry in self.manifest["files"]
            if "object" in entry
        }

    def objects(self, secret=()) -> Objects:
        return Objects(self.folder.parent, self.key, secret)


def backups_in(place: Path) -> list[Backup]:
    """The finished backups of a place, the oldest first; what cannot be read is passed over."""
    found = []
    for path in sorted(place.glob(f"*/{MANIFEST}")):
        try:
            found.append(Backup(path.parent, read_manifest(path.parent)))
        except BackupError:
            continue
    return sorted(found, key=lambda backup: (backup.made_at, backup.folder.name))


def find(source: Path) -> Backup:
    """The backup in a folder; of a place for backups, the newest.

    Raises
    ------
    BackupError
        When there is none.
    """
    if not (source / MANIFEST).is_file() and (newest := backups_in(source)[-1:]):
        return newest[0]
    return Backup(source, read_manifest(source))


def read_manifest(folder: Path) -> dict:
    path = folder / MANIFEST
    if not path.is_file():
        raise BackupError(f"{folder} holds no finished backup (no {MANIFEST}); choose another")
    try:
        manifest = json.loads(path.read_text())
        known = manifest["version"] in READABLE
        manifest["database"]["vendor"], manifest["database"]["sha256"], manifest["made_at"]
        paths = [_path_of(one) for one in manifest["files"]]
    except (ValueError, KeyError, TypeError, AttributeError):
        raise BackupError(f"{path} is damaged and cannot be read; choose another backup") from None
    if not known:
        raise BackupError(
            f"{path} is of version {manifest['version']}, this program reads version "
            f"{READABLE[0]} to {READABLE[-1]}; restore it with the program that made it"
        )
    if not all(_stays_inside(name) for name in paths):
        raise BackupError(f"{path} names a file outside the backup; choose another backup")
    return manifest


def write_manifest(folder: Path, manifest: dict) -> None:
    """Whole, and last: without it a folder is no backup."""
    durable.write(folder / MANIFEST, json.dumps(manifest, indent=1))


@contextmanager
def alone_in(place: Path) -> Iterator[None]:
    """Of several that back up to a place, or prune it, one at a time; for its own user alone.

    Raises
    ------
    BackupError
        While another is at it.
    """
    before = os.umask(permissions.mask(media_by_nginx=False))
    try:
        place.mkdir(parents=True, exist_ok=True)
        with (place / LOCK).open("a+") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise BackupError(
                    f"another backup is being made in {place}; wait until it has ended"
                ) from None
            yield
    finally:
        os.umask(before)


def _path_of(entry: dict) -> str:
    entry["owner"], entry["sha256"], entry["size_bytes"]
    if "object" in entry:
        Kept(**entry["object"])
        if not entry["object"]["sha256"].isalnum():
            raise ValueError("an object's name is a hash")
    return entry["path"]


def _stays_inside(name: str) -> bool:
    path = PurePosixPath(name)
    return not path.is_absolute() and ".." not in path.parts

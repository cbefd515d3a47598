"""``verify``: every row has its file with its hash, every file its row."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from django.db.models import F

from studio.clips.models import ClipFile, file_models
from studio.clips.storage import spool
from studio.clips.storage.stores import Entry, store


@dataclass(frozen=True, slots=True)
class Named:
    """A file as a row names it."""

    owner: str
    path: str
    sha256: str
    size_bytes: int


@dataclass(slots=True)
class Report:
    """What was looked at, and each thing that is wrong, in a sentence."""

    files: int = 0
    size_bytes: int = 0
    faults: list[str] = field(default_factory=list)
    orphans: list[str] = field(default_factory=list)


def named_files() -> Iterator[Named]:
    """Every file that a row names."""
    for model in file_models():
        rows = model.objects.order_by("pk").values_list(
            F("clip_id"), "path", "sha256", "size_bytes"
        )
        for clip_id, path, sha256, size in rows.iterator():
            yield Named(f"{model._meta.verbose_name} of clip {clip_id}", path, sha256, size)


def named_by(row: ClipFile) -> Named:
    owner = f"{row._meta.verbose_name} of clip {row.clip_id}"
    return Named(owner, row.path, row.sha256, row.size_bytes)


def verify() -> Report:
    """Read every file and compare it with its row; name what is wrong."""
    report, known = Report(), set()
    for named in named_files():
        known.add(named.path)
        report.files += 1
        report.size_bytes += named.size_bytes
        fault = fault_at_rest(named)
        if fault:
            report.faults.append(fault)
    report.orphans = sorted(entry.name for entry in orphans(known))
    return report


def orphans(known: set[str]) -> list[Entry]:
    """Files at rest that no row names; those that only pass belong to no clip."""
    at_rest = (entry for entry in store().entries() if not is_passing(entry.name))
    return [entry for entry in at_rest if entry.name not in known]


def is_passing(name: str) -> bool:
    return name.startswith(f"{spool.PASSING}/")


def fault_of(named: Named, path: Path) -> str:
    """What is wrong with the file of a row; empty when nothing is."""
    if not path.is_file():
        return f"{named.owner}: {named.path} is missing; restore it from a backup"
    size = path.stat().st_size
    if size != named.size_bytes:
        return f"{named.owner}: {named.path} has {size} bytes, its row says {named.size_bytes}"
    if sha256_of(path) != named.sha256:
        return f"{named.owner}: {named.path} has other bytes than were stored; restore it"
    return ""


def sha256_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def fault_at_rest(named: Named) -> str:
    """What is wrong with a row's file in the store; empty when nothing is."""
    try:
        with store().local(named.path) as path:
            return fault_of(named, path)
    except FileNotFoundError:
        return f"{named.owner}: {named.path} is missing; restore it from a backup"

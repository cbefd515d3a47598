"""``repair``: make again what a worker can make, bring back what a backup has, name the rest.

By itself it changes nothing and says what it would do.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from django.db.models import Exists, OuterRef

from studio.clips.models import Clip, ClipFile, Listening, Original, Rendition, Stage, file_models
from studio.clips.storage import spool

from . import encryption
from .manifests import Backup, BackupError, backups_in
from .verification import fault_at_rest, named_by, orphans

MADE_BY = {
    Stage.Kind.LISTENING: Rendition.Kind.PEAKS,
    Stage.Kind.PLAYBACK: Rendition.Kind.PLAYABLE,
    Stage.Kind.SMALL: Rendition.Kind.SMALL,
}


@dataclass(slots=True)
class Repair:
    """What is wrong, in sentences, by what can be done about it."""

    again: list[str] = field(default_factory=list)  # a worker makes it again
    back: list[str] = field(default_factory=list)  # a backup has it
    lost: list[str] = field(default_factory=list)  # nobody has it
    orphan_rows: list[str] = field(default_factory=list)
    orphan_files: list[str] = field(default_factory=list)


def repair(place: Path | None, *, apply: bool, identity: Path | None = None) -> Repair:
    """Look at every row and file; with ``apply`` do what can be done.

    ``place`` holds backups from which missing and damaged files come back; ``identity`` opens
    those that are encrypted.
    """
    found = Repair()
    backups = backups_in(place)[::-1] if place else []
    known: set[str] = set()
    for row in _rows():
        known.add(row.path)
        if fault := fault_at_rest(named_by(row)):
            _mend(row, fault, found, backups, identity, apply)
    for stage, lacking in _unmade():
        found.again.append(f"{stage}, but {lacking} is not there")
        if apply:
            stage.begin_again()
    found.orphan_rows = [f"clip {pk} was received, and no row names its file" for pk in _bare()]
    found.orphan_files = sorted(entry.name for entry in orphans(known))
    return found


def _mend(row: ClipFile, fault: str, found: Repair, backups, identity, apply: bool) -> None:
    source = _in_backups(row, backups)
    if row.can_be_made_again and not _has_lost_its_source(row):
        found.again.append(fault)
        if apply:
            row.make_again()
    elif source is not None:
        back = f"{fault} ({source.folder.name} has it)"
        if not apply:
            found.back.append(back)
        elif why := _bring_back(row, source, identity):
            found.lost.append(f"{fault} ({why})")
        else:
            found.back.append(back)
    else:
        found.lost.append(fault)


def _rows() -> Iterator[ClipFile]:
    """Originals first: a derived file is made again only from one that is whole."""
    for model in sorted(file_models(), key=lambda model: model is not Original):
        yield from model.objects.filter(clip__erased_at=None).order_by("pk").iterator()


def _has_lost_its_source(row: ClipFile) -> bool:
    original = Original.objects.filter(clip=row.clip_id).first()
    return original is None or bool(fault_at_rest(named_by(original)))


def _in_backups(row: ClipFile, backups: list[Backup]) -> Backup | None:
    """The newest backup whose object has the content that the row names."""
    for backup in backups:
        for kept in backup.kept().values():
            if kept.sha256 == row.sha256 and backup.objects().has(kept):
                return backup
    return None


def _bring_back(row: ClipFile, source: Backup, identity: Path | None) -> str:
    """Put a file back from a backup; why not, if it could not be."""
    kept = next(one for one in source.kept().values() if one.sha256 == row.sha256)
    made = spool.bench_path()
    try:
        secret = encryption.identities(identity) if source.key and identity else ()
        source.objects(secret).take(kept, made)
        spool.keep(spool.finished(made), row.path)
    except (encryption.SealingError, BackupError, FileNotFoundError) as error:
        return str(error)
    finally:
        made.unlink(missing_ok=True)
    return ""


def _unmade() -> Iterator[tuple[Stage, str]]:
    """Stages that count as done though what they make has no row."""
    for kind, rendition in MADE_BY.items():
        rows = Rendition.objects.filter(clip=OuterRef("clip"), kind=rendition)
        done = Stage.objects.filter(kind=kind, state=Stage.DONE[kind], clip__erased_at=None)
        for stage in done.filter(~Exists(rows)):
            yield stage, Rendition.Kind(rendition).label
    heard = Stage.objects.filter(kind=Stage.Kind.LISTENING, state=Stage.State.HEARD)
    listenings = Listening.objects.filter(clip=OuterRef("clip"))
    for stage in heard.filter(~Exists(listenings), clip__erased_at=None):
        yield stage, "its listening"


def _bare() -> list:
    received = Clip.objects.filter(intake=Clip.Intake.RECEIVED, erased_at=None)
    return list(received.filter(original=None).values_list("pk", flat=True))

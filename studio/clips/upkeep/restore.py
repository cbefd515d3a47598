"""``restore``: put a backup in the place of both stores, then erase again what was erased since."""

import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import DatabaseError, connection, connections

from studio import __version__, releases, running
from studio.accounts.models import Person
from studio.clips import recordings, services, signals
from studio.clips.models import Clip
from studio.clips.storage import erasure_log, spool
from studio.clips.storage.stores import store

from . import configuration, databases, encryption
from .backup import said_when_full
from .manifests import DATABASE, MEDIA, SETTINGS, Backup, BackupError, find
from .objects import Kept
from .verification import fault_of, sha256_of


@dataclass(slots=True)
class Restored:
    """What was put back, and what an operator should know of it."""

    backup: Backup
    erased_again: int
    said: list[str] = field(default_factory=list)


def restore(
    source: Path, *, replace: bool = False, identity: Path | None = None, passphrase: str = ""
) -> Restored:
    """Put a backup (of a place, the newest) in the place of both stores.

    A studio that has people in it is left alone unless ``replace`` says that it may go. Nothing of
    the studio may run meanwhile. Files of clips that the backup does not know become left-overs; an
    SQLite database that was there is kept beside, as ``.before-restore``. A backup of an older
    program is brought up to date. ``identity`` opens one that is encrypted.

    Raises
    ------
    BackupError
        When it cannot be done, or the studio runs; nothing was changed, unless the words say so.
    """
    try:
        backup = find(source)
        check_kind(backup)
        with (
            said_when_full("this machine's disk", "Free some"),
            opened(backup, identity, passphrase) as ready,
        ):
            _check(ready)
            if not replace:
                _refuse_to_replace()
            connections.close_all()
            with running.nobody_else():
                return _put_back(ready)
    except (running.StillRunning, encryption.SealingError) as error:
        raise BackupError(str(error)) from None


@dataclass(frozen=True, slots=True)
class Opened:
    """A backup whose database and settings lie decrypted in a scratch folder."""

    backup: Backup
    scratch: Path
    secret: Sequence
    kept: dict[str, Kept]

    @property
    def database(self) -> Path:
        return self.scratch / DATABASE

    def take(self, path: str, target: Path) -> None:
        """Write the backup's copy of a file to ``target``."""
        kept = self.kept.get(path)
        if kept is None:  # version 1 has its files in a folder of its own
            shutil.copyfile(self.backup.folder / MEDIA / path, target)
        else:
            self.backup.objects(self.secret).take(kept, target)


@contextmanager
def opened(backup: Backup, identity: Path | None, passphrase: str = "") -> Iterator[Opened]:
    """A backup with its database decrypted, in a folder that is removed at the end.

    Raises
    ------
    BackupError, encryption.SealingError
        When what lies there has changed, or no key opens it.
    """
    secret: Sequence = ()
    if backup.key:
        if identity is None:
            raise encryption.wrong_key(backup.key)
        secret = encryption.identities(identity, passphrase)
        if backup.key not in {str(one.to_public()) for one in secret}:
            raise encryption.wrong_key(backup.key)
    with tempfile.TemporaryDirectory(prefix="opened-", dir=settings.STUDIO_DATA) as scratch:
        ready = Opened(backup, Path(scratch), secret, backup.kept())
        _open(ready, DATABASE)
        if sha256_of(ready.database) != backup.manifest["database"]["sha256"]:
            raise BackupError(_changed(backup.folder / DATABASE))
        if "settings" in backup.manifest:
            _open(ready, SETTINGS)
        yield ready


def _open(ready: Opened, name: str) -> None:
    try:
        with (
            (ready.backup.folder / name).open("rb") as source,
            (ready.scratch / name).open("wb") as target,
        ):
            encryption.open_sealed(source, target, ready.backup.key, ready.secret)
    except (FileNotFoundError, encryption.SealingError):
        raise BackupError(_changed(ready.backup.folder / name)) from None


def _changed(path: Path) -> str:
    return f"{path} is missing, or has changed since it was written; choose another backup"


# -- before anything is touched --------------------------------------------------------------


def check_kind(backup: Backup) -> None:
    """Whether this program and this kind of database can take it."""
    found = backup.manifest["database"]
    if found["vendor"] != connection.vendor:
        raise BackupError(
            f"the backup is of {found['vendor']}, this studio runs on {connection.vendor}; "
            "set DATABASE_URL to the kind that was backed up"
        )
    unknown = sorted(set(found.get("migrations", ())) - releases.known_migrations())
    if unknown:
        raise BackupError(
            "the backup was made by a newer program "
            f"({backup.manifest.get('program', 'unknown')}; this is {__version__}, which does not "
            f"know {unknown[0]}); install that version first"
        )


def _check(ready: Opened) -> None:
    backup = ready.backup
    place = backup.objects()
    for named in backup.named():
        if named.path in ready.kept:
            fault = place.fault(ready.kept[named.path])
        else:
            fault = fault_of(named, backup.folder / MEDIA / named.path)
            fault = "" if named.path in backup.manifest.get("damaged", {}) else fault
        if fault:
            raise BackupError(f"the backup is damaged: {fault}; choose another backup")


def _refuse_to_replace() -> None:
    try:
        there = Person._meta.db_table in connection.introspection.table_names()
        people = Person.objects.count() if there else 0
    except DatabaseError as error:
        raise BackupError(
            f"the database that is there cannot be read ({str(error).strip()}); "
            "add --replace to put the backup in its place"
        ) from None
    if people:
        raise BackupError(
            f"this studio is not empty: {people} people are in it. Add --replace to put the "
            "backup in its place"
        )


# -- putting back ----------------------------------------------------------------------------


def _put_back(ready: Opened) -> Restored:
    backup = ready.backup
    for kind in erasure_log.KINDS:
        erasure_log.copy(backup.folder.parent / kind, erasure_log.folder(kind))
    _put_media(ready)
    databases.put_back(ready.database)
    said = _of_other_versions(backup)
    call_command("migrate", interactive=False, verbosity=0)
    own = ready.scratch / SETTINGS
    said += configuration.put_back(
        backup.manifest.get("secret_key", ""), own if own.exists() else None
    )
    if missing := backup.manifest.get("missing"):
        said.append(f"{len(missing)} files were missing when it was made; run `studio repair`.")
    return Restored(backup, erase_again(), said)


def _put_media(ready: Opened) -> None:
    """Put every file of the backup at rest again; what was erased since stays away."""
    place = store()
    erased = (*erasure_log.noted(), *erasure_log.noted_recordings())
    gone = {f"{spool.clip_folder(clip)}/" for clip in erased}
    for named in ready.backup.named():
        if named.path.startswith(tuple(gone)):
            continue
        made = spool.bench_path()
        try:
            ready.take(named.path, made)
            spool.keep(spool.finished(made), named.path, place)
        finally:
            made.unlink(missing_ok=True)


def _of_other_versions(backup: Backup) -> list[str]:
    """What an operator should know of a backup that was taken with other versions."""
    found = backup.manifest["database"]
    said, then, now = [], set(found.get("migrations", ())), databases.release()
    if then and releases.known_migrations() - then:
        said.append("It was of an older program, and was brought up to date.")
    if found.get("release", now) != now:
        said.append(f"It was of {found['vendor']} {found['release']}; this is {now}.")
    return said


def erase_again() -> int:
    """Erase what the backup brought back; says how many clips that were.

    What apps above keep of people goes with :data:`~studio.clips.signals.restored`.
    """
    back = Clip.objects.filter(pk__in=erasure_log.noted(), erased_at=None)
    for clip in back:
        services.erase(clip, detail="again, after a backup was restored")
    for clip_id in erasure_log.noted_recordings():
        recordings.let_go(clip_id)
    signals.restored.send(sender=Clip)
    return len(back)

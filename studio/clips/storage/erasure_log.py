"""What was erased, remembered outside the stores, so that restoring a backup erases it again.

One empty file for each: a clip in the data folder's ``erased``, an account or a pupil's place in
``erased-people``, a clip of which the recording alone went in ``erased-recordings``, a drill that
had been set in ``erased-drills``; each kind has its folder for versions of the program that know of
fewer. Only random ids are kept.
"""

import shutil
from collections.abc import Iterable
from pathlib import Path
from uuid import UUID

from django.conf import settings

from studio import durable

CLIPS, PEOPLE, RECORDINGS = "erased", "erased-people", "erased-recordings"
DRILLS = "erased-drills"
KINDS = (CLIPS, PEOPLE, RECORDINGS, DRILLS)


def folder(kind: str = CLIPS) -> Path:
    return Path(settings.MEDIA_ROOT).with_name(kind)


def note(clip_id: UUID) -> None:
    """Remember, durably, that a clip was erased."""
    _note([clip_id], CLIPS)


def note_clips(clips: Iterable[UUID]) -> None:
    """The same for many, with one wait for the disk."""
    _note(clips, CLIPS)


def note_people(ids: Iterable[UUID]) -> None:
    """Remember accounts and places, by their ``erasure_id``."""
    _note(ids, PEOPLE)


def note_recordings(clips: Iterable[UUID]) -> None:
    """Remember that of these clips the recordings went, and what was said of them stays."""
    _note(clips, RECORDINGS)


def note_drills(ids: Iterable[UUID]) -> None:
    """Remember drills that had been set, by their ``erasure_id``."""
    _note(ids, DRILLS)


def copy(source: Path, target: Path) -> None:
    """Add what one list holds to another, each with the time at which it was erased."""
    for path in sorted(source.iterdir()) if source.is_dir() else ():
        if not (target / path.name).exists():
            target.mkdir(parents=True, exist_ok=True)
            shutil.copy2(path, target / path.name)


def noted() -> list[UUID]:
    """The clips that were erased."""
    return _noted(CLIPS)


def noted_people() -> list[UUID]:
    """The accounts and places that were erased."""
    return _noted(PEOPLE)


def noted_recordings() -> list[UUID]:
    """The clips of which the recording went."""
    return _noted(RECORDINGS)


def noted_drills() -> list[UUID]:
    """The drills that had been set, and were erased."""
    return _noted(DRILLS)


def _note(ids: Iterable[UUID], kind: str) -> None:
    place = folder(kind)
    place.mkdir(parents=True, exist_ok=True)
    for one in ids:
        (place / one.hex).touch()
    durable.sync_folder(place)


def _noted(kind: str) -> list[UUID]:
    place = folder(kind)
    return [UUID(hex=path.name) for path in sorted(place.iterdir())] if place.is_dir() else []

"""What was erased, remembered outside the stores, so that restoring a backup erases it again.

One empty file a clip in the data folder's ``erased``: only the clip's random id is kept.
"""

import shutil
from pathlib import Path
from uuid import UUID

from django.conf import settings

from studio import durable


def folder() -> Path:
    return Path(settings.MEDIA_ROOT).with_name("erased")


def note(clip_id: UUID) -> None:
    """Remember, durably, that a clip was erased."""
    place = folder()
    place.mkdir(parents=True, exist_ok=True)
    (place / clip_id.hex).touch()
    durable.sync_folder(place)


def copy(source: Path, target: Path) -> None:
    """Add what one list holds to another, each with the time at which it was erased."""
    for path in sorted(source.iterdir()) if source.is_dir() else ():
        if not (target / path.name).exists():
            target.mkdir(parents=True, exist_ok=True)
            shutil.copy2(path, target / path.name)


def noted() -> list[UUID]:
    place = folder()
    return [UUID(hex=path.name) for path in sorted(place.iterdir())] if place.is_dir() else []

"""Which version this is, and whether the database is one that it knows."""

import subprocess
from pathlib import Path

from django.db import DatabaseError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from studio import __version__

ROOT = Path(__file__).resolve().parents[1]


class NewerDatabase(Exception):
    """The database was brought up to date by a newer program than this."""

    def __init__(self, unknown: str):
        super().__init__(
            f"the database was brought up to date by a newer program: this one, version "
            f"{__version__}, does not know {unknown}. Nothing was changed. Install the newer "
            "version again, or restore a backup that was made before the upgrade"
        )


def known_migrations() -> set[str]:
    """Every step that this program can take a database through, as ``app.name``."""
    return {".".join(one) for one in MigrationLoader(None).disk_migrations}


def applied_migrations() -> set[str]:
    """Every step that the database has been taken through."""
    return {".".join(one) for one in MigrationRecorder(connection).applied_migrations()}


def refuse_newer_database() -> None:
    """Stop before an older program writes to tables that it does not know.

    Raises
    ------
    NewerDatabase
        When the database has been taken further. One that is away is left to who needs it.
    """
    try:
        unknown = sorted(applied_migrations() - known_migrations())
    except DatabaseError:
        return
    if unknown:
        raise NewerDatabase(unknown[0])


def version() -> str:
    """The version, and the commit where the program lies in a checkout of its repository."""
    if not (ROOT / ".git").exists():
        return __version__
    command = ["git", "-C", str(ROOT), "describe", "--tags", "--always", "--dirty"]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=10, check=False)
    except OSError:
        return __version__
    return f"{__version__} ({done.stdout.strip()})" if done.returncode == 0 else __version__

import os
from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from studio.clips.upkeep.manifests import BackupError
from studio.clips.upkeep.restore import restore


class Command(BaseCommand):
    help = (
        "Put a backup in the place of the database and the recordings. It refuses while the studio "
        "runs. An SQLite database that was there is kept beside, as .before-restore."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument(
            "folder", type=Path, help="a backup, or a place for backups: then its newest one"
        )
        parser.add_argument(
            "--replace", action="store_true", help="even though there are people in this studio"
        )
        parser.add_argument(
            "--identity",
            type=Path,
            default=Path(settings.BACKUP_IDENTITY) if settings.BACKUP_IDENTITY else None,
            help="the file that opens an encrypted backup (default: BACKUP_IDENTITY)",
        )

    def handle(self, *args, folder: Path, replace: bool, identity, **options) -> None:
        passphrase = os.environ.get("BACKUP_PASSPHRASE", "")
        try:
            done = restore(folder, replace=replace, identity=identity, passphrase=passphrase)
        except BackupError as error:
            raise CommandError(str(error)) from None
        self.stdout.write(
            f"Restored the backup of {done.backup.made_at} with "
            f"{len(done.backup.manifest['files'])} files. "
            f"Clips erased since, and erased again: {done.erased_again}."
        )
        for sentence in done.said:
            self.stdout.write(sentence)

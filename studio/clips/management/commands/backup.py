from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from studio.clips.upkeep.backing_up import BackupError, back_up


class Command(BaseCommand):
    help = "Back up the database and the media to a new folder. Safe while the studio runs."

    def add_arguments(self, parser) -> None:
        parser.add_argument("folder", type=Path, help="a folder that is new or empty")

    def handle(self, *args, folder: Path, **options) -> None:
        try:
            manifest = back_up(folder)
        except BackupError as error:
            raise CommandError(str(error)) from None
        self.stdout.write(f"Backed up the database and {len(manifest['files'])} files to {folder}.")
        for fault in manifest["damaged"].values():
            self.stderr.write(fault)
        if manifest["damaged"]:
            raise CommandError(
                f"The backup is finished, but {len(manifest['damaged'])} files were damaged "
                "already. Keep the backups made before, which may hold them whole."
            )

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from studio.clips.upkeep.backing_up import BackupError, restore


class Command(BaseCommand):
    help = (
        "Put a backup in the place of the database and the media. Stop web and workers first. "
        "An SQLite database that was there is kept beside, as .before-restore."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("folder", type=Path, help="a folder that `backup` wrote")
        parser.add_argument(
            "--replace", action="store_true", help="even though there are people in this studio"
        )

    def handle(self, *args, folder: Path, replace: bool, **options) -> None:
        try:
            manifest = restore(folder, replace=replace)
        except BackupError as error:
            raise CommandError(str(error)) from None
        self.stdout.write(
            f"Restored the backup of {manifest['made_at']} with {len(manifest['files'])} files. "
            f"Clips erased since, and erased again: {manifest['erased_again']}."
        )
        for sentence in manifest["said"]:
            self.stdout.write(sentence)

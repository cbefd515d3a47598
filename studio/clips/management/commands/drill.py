import os
from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from studio import figures
from studio.clips.upkeep import runs
from studio.clips.upkeep.manifests import BackupError


class Command(BaseCommand):
    help = (
        "Restore the newest backup into a scratch place, see that it is whole, and remove that "
        "again. The studio goes on meanwhile, and nothing of it changes."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument(
            "place", type=Path, nargs="?", help="a folder for backups (default: BACKUP_FOLDER)"
        )
        parser.add_argument(
            "--identity",
            type=Path,
            default=Path(settings.BACKUP_IDENTITY) if settings.BACKUP_IDENTITY else None,
            help="the file that opens an encrypted backup (default: BACKUP_IDENTITY)",
        )

    def handle(self, *args, place: Path | None, identity: Path | None, **options) -> None:
        place = place or (Path(settings.BACKUP_FOLDER) if settings.BACKUP_FOLDER else None)
        if place is None:
            raise CommandError("Name a folder for backups, or set BACKUP_FOLDER to it.")
        try:
            report = runs.make_drill(place, identity, os.environ.get("BACKUP_PASSPHRASE", ""))
        except BackupError as error:
            raise CommandError(str(error)) from None
        size = figures.megabytes(report.figures["size_bytes"])
        self.stdout.write(f"{report.figures['files']} files came back, {size}.")
        for sentence in report.said:
            self.stdout.write(sentence)
        for fault in report.faults:
            self.stderr.write(fault)
        if report.faults:
            number = figures.count(len(report.faults), "thing is", "things are")
            raise CommandError(f"The drill has failed: {number} wrong with the newest backup.")
        self.stdout.write("The newest backup can be restored.")

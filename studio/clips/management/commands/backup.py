from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from studio import figures
from studio.clips.upkeep import configuration, runs
from studio.clips.upkeep.backup import Finished
from studio.clips.upkeep.manifests import BackupError

INCOMPLETE = 3  # the exit code of a backup that is there, and that found something wrong


class Command(BaseCommand):
    help = (
        "Add a backup of the database and the recordings to a place for backups. Safe while the "
        "studio runs. Ends with 0; with 3 when it was made, and something was missing or damaged; "
        "with 1 when it was not made."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument(
            "place", type=Path, nargs="?", help="a folder for backups (default: BACKUP_FOLDER)"
        )

    def handle(self, *args, place: Path | None, **options) -> None:
        place = place or (Path(settings.BACKUP_FOLDER) if settings.BACKUP_FOLDER else None)
        if place is None:
            raise CommandError("Name a folder for backups, or set BACKUP_FOLDER to it.")
        try:
            finished = runs.back_up(place)
        except BackupError as error:
            raise CommandError(str(error)) from None
        self._tell(finished)

    def _tell(self, finished: Finished) -> None:
        number = len(finished.manifest["files"])
        self.stdout.write(
            f"Backed up the database and {number} files to {finished.folder}; "
            f"{figures.megabytes(finished.added_bytes)} of them are new here. "
            f"Old backups removed: {finished.pruned}."
        )
        if not finished.manifest["key"]:
            self.stdout.write(configuration.not_kept())
        for fault in finished.faults:
            self.stderr.write(fault)
        if finished.faults:
            number = figures.count(len(finished.faults), "thing is", "things are")
            raise CommandError(
                f"The backup is finished, but {number} missing or damaged. No old backup was "
                "removed. `python -m studio repair` says what can be done.",
                returncode=INCOMPLETE,
            )

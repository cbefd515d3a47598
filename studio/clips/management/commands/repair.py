from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from studio import figures
from studio.clips.upkeep.repair import repair


class Command(BaseCommand):
    help = (
        "Say what is missing or damaged, and what can be done: workers make pictures, posters and "
        "listenings again, and a backup brings recordings back. Nothing is changed without "
        "--apply. Ends with 1 while something is lost."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("--apply", action="store_true", help="do it, too")
        parser.add_argument(
            "--from",
            type=Path,
            dest="place",
            default=Path(settings.BACKUP_FOLDER) if settings.BACKUP_FOLDER else None,
            help="a folder for backups to bring recordings back from (default: BACKUP_FOLDER)",
        )
        parser.add_argument(
            "--identity",
            type=Path,
            default=Path(settings.BACKUP_IDENTITY) if settings.BACKUP_IDENTITY else None,
            help="the file that opens encrypted backups (default: BACKUP_IDENTITY)",
        )

    def handle(self, *args, apply: bool, place, identity, **options) -> None:
        found = repair(place, apply=apply, identity=identity)
        done = (
            ("Being made again", "Brought back") if apply else ("Can be made again", "In a backup")
        )
        for heading, lines in (
            (done[0], found.again),
            (done[1], found.back),
            ("Lost: no backup here has it", found.lost),
            ("Rows without a file", found.orphan_rows),
            ("Files without a row (removed when a day old)", found.orphan_files),
        ):
            if lines:
                self.stdout.write(f"{heading}: {len(lines)}")
            for line in lines:
                self.stdout.write(f"  {line}")
        if (found.again or found.back) and not apply:
            self.stdout.write("Nothing was changed. `python -m studio repair --apply` does it.")
        if found.lost or found.orphan_rows:
            number = figures.count(len(found.lost) + len(found.orphan_rows), "file is", "files are")
            raise CommandError(f"{number} lost. An older backup, or the pupil, may have them.")
        if not (found.again or found.back):
            self.stdout.write("Nothing is missing or damaged.")

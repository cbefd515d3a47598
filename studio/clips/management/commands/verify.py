from django.core.management.base import BaseCommand, CommandError

from studio import figures
from studio.clips.upkeep.verifying import verify


class Command(BaseCommand):
    help = "Check that every row has its file with its hash, and every file its row."

    def handle(self, *args, **options) -> None:
        report = verify()
        size = figures.megabytes(report.size_bytes)
        self.stdout.write(f"{report.files} files of rows were read, {size}.")
        for path in report.orphans:
            self.stdout.write(f"No row names {path}; it is removed when it is a day old.")
        for fault in report.faults:
            self.stderr.write(fault)
        if report.faults:
            raise CommandError(f"{len(report.faults)} of {report.files} files are wrong.")
        self.stdout.write("Every row has its file.")

from django.core.management.base import BaseCommand, CommandError

from studio import figures
from studio.clips.upkeep import databases
from studio.clips.upkeep.verification import verify


class Command(BaseCommand):
    help = (
        "Check that the database is whole, that every row has its file with its hash, and every "
        "file its row."
    )

    def handle(self, *args, **options) -> None:
        wrong, unseen = databases.faults()
        for sentence in unseen:
            self.stdout.write(sentence)
        report = verify()
        size = figures.megabytes(report.size_bytes)
        self.stdout.write(f"{report.files} files of rows were read, {size}.")
        for path in report.orphans:
            self.stdout.write(f"No row names {path}; it is removed when it is a day old.")
        for fault in [*wrong, *report.faults]:
            self.stderr.write(fault)
        if report.faults:
            raise CommandError(
                f"{len(report.faults)} of {report.files} files are wrong. "
                "`python -m studio repair` says what can be done."
            )
        if wrong:
            raise CommandError("The database is damaged: restore the newest backup that is whole.")
        self.stdout.write("The database is whole, and every row has its file.")

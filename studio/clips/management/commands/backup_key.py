import os
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from studio.clips.upkeep import encryption


class Command(BaseCommand):
    help = (
        "Make a pair of keys for encrypted backups: the secret one goes to a new file, the public "
        "one is printed, for BACKUP_RECIPIENT. BACKUP_PASSPHRASE protects the file, when it is set."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("file", type=Path, help="a new file for the secret key")

    def handle(self, *args, file: Path, **options) -> None:
        contents, public = encryption.new_identity(os.environ.get("BACKUP_PASSPHRASE", ""))
        try:
            handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except OSError as error:
            raise CommandError(f"{file} was not written: {error.strerror}.") from None
        with os.fdopen(handle, "wb") as out:
            out.write(contents)
        self.stdout.write(f"BACKUP_RECIPIENT={public}")
        self.stderr.write(
            f"Move {file} off this machine, and keep two copies: nobody opens a backup without it."
        )

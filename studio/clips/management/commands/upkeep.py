import subprocess
import sys
import time

from django.conf import settings
from django.core.management.base import BaseCommand
from django.db import DatabaseError, connection

from studio import starting
from studio.clips.upkeep import runs

LOOK_S = 60.0


class Command(BaseCommand):
    help = (
        "Keep running; make a backup each night at three and a drill each week, when BACKUP_FOLDER "
        "is set. `serve` and the units start this by themselves."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("--once", action="store_true", help="do what is due now, and end")

    def handle(self, *args, once: bool, **options) -> None:
        if not once:
            starting.begin("upkeep")
        if not settings.BACKUP_FOLDER:
            self.stderr.write("studio: BACKUP_FOLDER is not set: no backup is made by itself.")
        while True:
            self._do_what_is_due()
            if once:
                return
            time.sleep(LOOK_S)

    def _do_what_is_due(self) -> None:
        """Each in a process of its own, so that this one stays small."""
        try:
            due = runs.due()
        except DatabaseError:
            return  # it is away; there is another look soon
        finally:
            connection.close()
        for command in due:
            subprocess.run([sys.executable, "-m", "studio", command], check=False)

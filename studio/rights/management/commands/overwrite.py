"""``python -m studio overwrite``: what the database left behind of deleted rows."""

from django.core.management.base import BaseCommand, CommandError

from studio.rights.erasure import free_pages, work


class Command(BaseCommand):
    help = (
        "Write the database’s tables anew, so that nothing of deleted rows is left in its files. "
        "Erasures do it by themselves; this is for a database above 2 GB, in a quiet hour: nothing "
        "can be written meanwhile."
    )

    def handle(self, *args, **options) -> None:
        try:
            done = free_pages.overwrite(work.tables(), None, all_sizes=True)
        except free_pages.Busy as busy:
            raise CommandError(f"Not all of it, {busy}. Try again in a quieter hour.") from None
        if not done:
            raise CommandError("Not all of it; the log says why. Try again once that is mended.")
        self.stdout.write("The database was written anew.")

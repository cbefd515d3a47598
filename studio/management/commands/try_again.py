"""Let parked work be tried from the beginning."""

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from studio.jobs.dead_letters import try_again


class Command(BaseCommand):
    help = "Try parked work again: by the name that `parked` lists, or --all of it."

    def add_arguments(self, parser) -> None:
        parser.add_argument("names", nargs="*", metavar="NAME")
        parser.add_argument("--all", action="store_true")

    def handle(self, *args, names: list[str], **options) -> None:
        if not names and not options["all"]:
            raise CommandError(
                "Name what is to be tried again, as `parked` lists it, or say --all."
            )
        try:
            again = sum(try_again(name) for name in names) if names else try_again()
        except (LookupError, ValidationError) as error:
            raise CommandError(str(error)) from error
        if names and not again:
            raise CommandError("None of these is parked; see `parked`.")
        self.stdout.write(f"{again} are tried again, within 15 seconds.")

"""``python -m studio close_studio NAME [--yes]``."""

from django.core.management.base import BaseCommand, CommandError
from django.db.models import QuerySet

from studio.accounts import access, by_command, handing_over
from studio.accounts.models import Enrolment


class Command(BaseCommand):
    help = (
        "Close a studio whose only teacher stops: all lessons end, and the families are told. "
        "Without --yes it says what will be the case, and does nothing. Nothing is deleted."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("name", help="the studio's name")
        parser.add_argument("--yes", action="store_true", help="do it")

    def handle(self, *args, **options) -> None:
        studio = by_command.studio_named(options["name"])
        places: QuerySet[Enrolment] = access.places_in(studio).order_by("pupil__name", "pk")
        if not options["yes"]:
            lines = [f"The lessons of {place.pupil} end." for place in places]
            lines += [
                "Families are told; they go on reading what came back, and copies and erasure "
                "stay theirs.",
                "The teacher reaches nothing of the studio any more. It cannot be taken back.",
            ]
            by_command.say(self.stdout, f"{studio} would close", lines)
            return
        try:
            ended = handing_over.close(studio)
        except handing_over.StillNeeded as why:
            raise CommandError(f"{why} See “owner” and “end_teacher”.") from None
        self.stdout.write(f"{studio} is closed. Lessons ended: {ended}. The families are told.")

"""``python -m studio end_teacher TEACHER [--to TEACHER] [--studio NAME] [--yes]``."""

from django.core.management.base import BaseCommand, CommandError

from studio.accounts import by_command, handing_over


class Command(BaseCommand):
    help = (
        "End a teacher's place in a studio; her pupils go to --to. Without --yes it says what will "
        "be the case, and does nothing. Nothing is deleted."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("teacher", help="the address that the teacher logs in with")
        parser.add_argument("--to", help="the same of who teaches the pupils from now on")
        parser.add_argument("--studio", help="the studio's name, where the teacher has several")
        parser.add_argument("--yes", action="store_true", help="do it")

    def handle(self, *args, **options) -> None:
        membership = by_command.teaching(options["teacher"], options["studio"])
        studio, places = membership.studio, list(handing_over.pupils_of(membership))
        heirs = {}
        if options["to"]:
            heir = by_command.teaching(options["to"], str(studio)).person
            heirs = {place.pk: heir for place in places}
        what = f"{membership.person}’s place at {studio}"
        if not options["yes"]:
            lines = ["The teacher reaches nothing of the studio any more; what was taken is free."]
            lines += [
                f"{place.pupil} goes to {heirs.get(place.pk, 'nobody yet: give --to')}"
                for place in places
            ]
            by_command.say(self.stdout, f"{what} would end", lines)
            return
        try:
            handing_over.end_membership(membership, heirs)
        except handing_over.StillNeeded as why:
            raise CommandError(
                f"{why} Pupils go to --to TEACHER or by “hand_over_pupils”, the studio by “owner”; "
                "where nobody else teaches, “close_studio”."
            ) from None
        self.stdout.write(f"{what} has ended. Pupils handed over: {len(places)}.")

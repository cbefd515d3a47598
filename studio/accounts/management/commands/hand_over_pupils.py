"""``python -m studio hand_over_pupils TEACHER --to TEACHER [--pupil NAME] [--studio NAME]``."""

from django.core.management.base import BaseCommand, CommandError

from studio.accounts import by_command, handing_over


class Command(BaseCommand):
    help = (
        "Give the pupils of a teacher, or one of them, to another teacher of the studio. Without "
        "--yes it says who would be handed over, and does nothing. The families are told."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("teacher", help="the address that the present teacher logs in with")
        parser.add_argument("--to", required=True, help="the same of who teaches from now on")
        parser.add_argument("--pupil", help="one pupil alone: address, log-in name, or name")
        parser.add_argument("--studio", help="the studio's name, where they share several")
        parser.add_argument("--yes", action="store_true", help="do it")

    def handle(self, *args, **options) -> None:
        before = by_command.teaching(options["teacher"], options["studio"])
        heir = by_command.teaching(options["to"], str(before.studio)).person
        if heir == before.person:
            raise CommandError("That is the same teacher. Give another one with --to.")
        places = list(handing_over.pupils_of(before))
        if options["pupil"]:
            meant = by_command.places_of(options["pupil"], str(before.studio))
            places = [place for place in places if place in set(meant)]
            by_command.the_one(places, options["pupil"])
        if not options["yes"]:
            lines = [f"{place.pupil}, from {before.person} to {heir}" for place in places]
            nobody = [f"nobody: {before.person} teaches no pupil there"]
            by_command.say(self.stdout, "Handed over would be", lines or nobody)
            return
        changed = handing_over.hand_over(places, {place.pk: heir for place in places})
        self.stdout.write(f"Handed over to {heir}: {changed}. The families are told.")

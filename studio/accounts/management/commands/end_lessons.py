"""``python -m studio end_lessons PUPIL [--studio NAME] [--for-family] [--take-back] [--yes]``."""

from django.core.management.base import BaseCommand, CommandError

from studio.accounts import by_command, lesson_endings
from studio.accounts.models import Enrolment, current


class Command(BaseCommand):
    help = (
        "End a pupil's lessons in a studio, or take that back. Without --yes it says what will be "
        "the case, and does nothing. Nothing is deleted, and both sides are told."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("pupil", help="the pupil's address, log-in name, or name")
        parser.add_argument("--studio", help="the studio's name, where the pupil has several")
        parser.add_argument(
            "--for-family",
            action="store_true",
            help="the family asked for it, so that the studio cannot take it back",
        )
        parser.add_argument("--take-back", action="store_true", help="let ended lessons go on")
        parser.add_argument("--yes", action="store_true", help="do it")

    def handle(self, *args, **options) -> None:
        places = by_command.places_of(options["pupil"], options["studio"])
        if options["take_back"]:
            self._take_back(places, options)
            return
        place = by_command.the_one(places.filter(current()), options["pupil"])
        what = f"The lessons of {place.pupil} at {place.studio}, with {place.teacher}"
        if not options["yes"]:
            said = lesson_endings.before_studio_ends(place)
            by_command.say(self.stdout, f"{what}, would end", said.lines)
            return
        side = lesson_endings.Side.FAMILY if options["for_family"] else lesson_endings.Side.STUDIO
        lesson_endings.end_lessons(place, side=side)
        self.stdout.write(f"{what}, have ended. The family and the teachers are told.")

    def _take_back(self, places, options: dict) -> None:
        ended: list[Enrolment] = list(places.exclude(current()).order_by("-ended_on", "-pk"))
        place = by_command.the_one(ended, options["pupil"])
        what = f"The lessons of {place.pupil} at {place.studio}"
        end = lesson_endings.end_of(place)
        why = (
            lesson_endings.why_not(end, end.side)
            if end
            else "That they ended can be taken back no more."
        )
        if why:
            raise CommandError(why)
        assert end is not None
        if not options["yes"]:
            same = "Everything is as it was before, consent too; both sides are told."
            by_command.say(self.stdout, f"{what} would go on", [same])
            return
        lesson_endings.take_back(place, end.side)
        self.stdout.write(f"{what} go on. The family and the teachers are told.")

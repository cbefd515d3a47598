"""``python -m studio erase_person WHO [--studio NAME] [--yes]``."""

from django.core.management.base import BaseCommand, CommandError

from studio.accounts.models import Enrolment, Person, Studio
from studio.rights.erasure import by_command, requests, words


class Command(BaseCommand):
    help = (
        "Erase all that is kept about a person, or with --studio about a pupil of one studio, as "
        "the person or a guardian could on the page Your data. Says what goes and what stays; does "
        "it with --yes."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument(
            "who", help="what the person logs in with; or, with --studio, the pupil’s whole name"
        )
        parser.add_argument("--studio", help="only the lessons in the studio of this name")
        parser.add_argument("--yes", action="store_true", help="do it")

    def handle(self, *args, who: str, studio: str | None, yes: bool, **options) -> None:
        if studio is None:
            self._account(_person(who), yes)
        else:
            self._lessons(_place(who, studio), yes)

    def _account(self, person: Person, yes: bool) -> None:
        if why := requests.why_not(person, of_herself=False):
            raise CommandError(why)
        by_command.tell(self.stdout, f"The account of {person}", words.of_account(person))
        if yes:
            by_command.do(self.stdout, requests.erase_account(person, None))

    def _lessons(self, place: Enrolment, yes: bool) -> None:
        what = f"The lessons of {place.pupil} at {place.studio}"
        by_command.tell(self.stdout, what, words.of_lessons(place, None))
        if yes:
            by_command.do(self.stdout, requests.erase_lessons(place.pupil, place.studio, None))


def _person(who: str) -> Person:
    person = Person.objects.who_logs_in_with(who)
    if person is None:
        raise CommandError(f"Nobody logs in with {who!r}. Look at it once more.")
    return person


def _place(who: str, name: str) -> Enrolment:
    studio = Studio.objects.filter(name=name).first()
    if studio is None:
        raise CommandError(f"There is no studio {name!r}. Look at its name once more.")
    known = Person.objects.who_logs_in_with(who)
    places = Enrolment.objects.filter(studio=studio).select_related("pupil", "studio")
    places = places.filter(pupil=known) if known else places.filter(pupil__name__iexact=who)
    pupils = {place.pupil_id: place for place in places.order_by("started_on", "pk")}
    if len(pupils) != 1:
        many = "No pupil" if not pupils else f"{len(pupils)} pupils"
        raise CommandError(
            f"{many} of {studio} answer to {who!r}. Give what the pupil logs in with, or the whole "
            "name of one who does not log in."
        )
    return next(iter(pupils.values()))

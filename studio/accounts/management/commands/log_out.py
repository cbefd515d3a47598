"""``python -m studio log_out ADDRESS`` or ``--everybody``."""

from django.core.management.base import BaseCommand, CommandError

from studio.accounts import second_step, sessions
from studio.accounts.models import OpenSession, Person


class Command(BaseCommand):
    help = (
        "End every open session of whoever has this address, or of everybody, and let every "
        "browser be asked for the second step again."
    )

    def add_arguments(self, parser) -> None:
        who = parser.add_mutually_exclusive_group(required=True)
        who.add_argument(
            "address", nargs="?", help="the e-mail address or log-in name of the person"
        )
        who.add_argument("--everybody", action="store_true", help="end the sessions of all")

    def handle(self, *args, **options) -> None:
        if options["everybody"]:
            people = list(Person.objects.filter(open_sessions__isnull=False).distinct())
        else:
            people = [_person(options["address"])]
        for person in people:
            second_step.spare_nobody(person)
        ended = sum(sessions.end_all(person) for person in people)
        if options["everybody"]:
            ended += OpenSession.objects.all().delete()[0]
        self.stdout.write(f"Sessions ended: {ended}.")


def _person(address: str) -> Person:
    person = Person.objects.who_logs_in_with(address)
    if person is None:
        raise CommandError(f"Nobody logs in with {address!r}. Look at it once more.")
    return person

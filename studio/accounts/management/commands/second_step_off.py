"""``python -m studio second_step_off ADDRESS``."""

from django.core.management.base import BaseCommand, CommandError

from studio.accounts import second_step
from studio.accounts.models import Person


class Command(BaseCommand):
    help = (
        "Switch off the second step of a log-in for whoever has this address and has lost the "
        "phone and the printed codes. The password is asked for as before. The person is told, and "
        "a pupil's guardians."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("address", help="the e-mail address or log-in name of the person")

    def handle(self, *args, **options) -> None:
        address = options["address"].strip().lower()
        person = Person.objects.who_logs_in_with(address)
        if person is None:
            raise CommandError(f"Nobody logs in with {address!r}. Look at it once more.")
        if not second_step.is_on(person):
            raise CommandError(f"{person} logs in with the password alone already.")
        second_step.switch_off(person, by=" by whoever runs the studio’s machine")
        self.stdout.write(
            f"{person} logs in with the password alone from now on, and is told so. Be sure that "
            f"it was {person} who asked."
        )

"""``python -m studio reset_password ADDRESS``."""

from django.core.management.base import BaseCommand, CommandError
from django.urls import reverse

from studio import figures
from studio.accounts import passwords
from studio.accounts.links import site_address
from studio.accounts.models import Person


class Command(BaseCommand):
    help = (
        "Print a link with which whoever has this address chooses a new password. It works once, "
        "for a day; an earlier one no longer works. The person is told, and a pupil's guardians."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("address", help="the e-mail address or log-in name of the person")

    def handle(self, *args, **options) -> None:
        address = options["address"].strip().lower()
        person = Person.objects.who_logs_in_with(address)
        if person is None:
            raise CommandError(f"Nobody logs in with {address!r}. Look at it once more.")
        if not person.is_active:
            raise CommandError(
                f"The account of {address} is switched off; a password opens nothing."
            )
        link, secret = passwords.make_link(person)
        path = reverse("password_by_link", kwargs={"secret": secret})
        self.stdout.write(
            f"Be sure that it is {person} who asks. Then give {person} alone this link. It works "
            f"once, until {figures.date_time(link.expires_at)} UTC:\n\n  {site_address()}{path}\n"
        )

"""``python -m studio operator [--add ADDRESS | --remove ADDRESS]``."""

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from studio.accounts import audit
from studio.accounts.models import Person


class Command(BaseCommand):
    help = (
        "Say who may open the page Service, which tells how the studio's machine and its work "
        "are; give somebody that right, or take it. It shows nothing of clips or pupils."
    )

    def add_arguments(self, parser) -> None:
        which = parser.add_mutually_exclusive_group()
        which.add_argument("--add", metavar="ADDRESS", help="whose log-in address it is")
        which.add_argument("--remove", metavar="ADDRESS", help="from whom it is taken")

    def handle(self, *args, add=None, remove=None, **options) -> None:
        if add or remove:
            person = _person(add or remove)
            with transaction.atomic():
                Person.objects.filter(pk=person.pk).update(is_operator=bool(add))
                audit.record(audit.Act.OPERATOR_CHANGED, by=None, studio=None, about=person)
        who = Person.objects.filter(is_operator=True, is_active=True).order_by("email")
        for one in who:
            self.stdout.write(f"{one.email} may open the page Service.")
        if not who:
            self.stdout.write("Nobody may open the page Service. Give the right with --add.")


def _person(address: str) -> Person:
    person = Person.objects.filter(email=address.strip().lower()).first()
    if person is None:
        raise CommandError(f"Nobody logs in with {address!r}. Look at the address once more.")
    return person

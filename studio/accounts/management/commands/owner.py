"""``python -m studio owner ADDRESS [--studio NAME]``."""

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from studio.accounts import audit
from studio.accounts.models import Membership, current


class Command(BaseCommand):
    help = (
        "Make a teacher the owner of a studio, in place of who was it. The owner reads what was "
        "done in the studio, and no colleague can end the owner's place."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("address", help="the e-mail address that the teacher logs in with")
        parser.add_argument("--studio", help="the studio's name, where the teacher has several")

    def handle(self, *args, **options) -> None:
        address, studio = options["address"].strip().lower(), options["studio"]
        found = Membership.objects.filter(
            current(), role=Membership.Role.TEACHER, person__email=address, person__is_active=True
        ).select_related("person", "studio")
        if studio:
            found = found.filter(studio__name=studio)
        rows = list(found)
        if not rows:
            where = f" at {studio}" if studio else ""
            raise CommandError(
                f"Nobody who logs in with {address!r} teaches{where} today. Look at the address "
                "once more, or let the teachers invite that person first."
            )
        if len(rows) > 1:
            names = " or ".join(f'--studio "{row.studio}"' for row in rows)
            raise CommandError(f"That teacher has several studios. Say which: {names}.")
        with transaction.atomic():
            audit.make_owner(rows[0])
        self.stdout.write(f"{rows[0].person} is now the owner of {rows[0].studio}.")

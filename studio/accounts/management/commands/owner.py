"""``python -m studio owner ADDRESS [--studio NAME]``."""

from django.core.management.base import BaseCommand

from studio.accounts import by_command, handing_over


class Command(BaseCommand):
    help = (
        "Make a teacher the owner of a studio, in place of who was it. The owner reads what was "
        "done in the studio, ends the place of a teacher, and hands over pupils. The teachers are "
        "told."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("address", help="the e-mail address that the teacher logs in with")
        parser.add_argument("--studio", help="the studio's name, where the teacher has several")

    def handle(self, *args, **options) -> None:
        membership = by_command.teaching(options["address"], options["studio"])
        handing_over.make_owner(membership)
        self.stdout.write(f"{membership.person} is now the owner of {membership.studio}.")

"""``python -m studio add_studio NAME --teacher-name NAME --teacher-email ADDRESS``."""

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.core.validators import validate_email
from django.db import transaction
from django.urls import reverse

from studio import figures
from studio.accounts import invitations
from studio.accounts.links import site_address
from studio.accounts.models import Membership, Studio
from studio.accounts.names import SENTENCE, is_one_line


class Command(BaseCommand):
    help = (
        "Add a studio and invite its first teacher; prints the link with which the teacher "
        "chooses a password. For a studio that is there already but has no teacher yet, it "
        "prints a new link."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("name", help="the studio's name, as pupils read it")
        parser.add_argument("--teacher-name", required=True, help="the first teacher's name")
        parser.add_argument("--teacher-email", required=True, help="the address to log in with")

    def handle(self, *args, **options) -> None:
        name, email = options["name"].strip(), options["teacher_email"].strip()
        _check(name, options["teacher_name"].strip(), email)
        with transaction.atomic():
            studio = _studio(name)
            invited, secret = invitations.invite(
                studio, Membership.Role.TEACHER, options["teacher_name"], email
            )
        link = site_address() + reverse("invitation", kwargs={"secret": secret})
        self.stdout.write(
            f"{studio} is ready for its teacher.\n\n"
            f"Next: give {invited.name} this link. It works once, until "
            f"{figures.date_time(invited.expires_at)} UTC:\n\n  {link}\n\n"
            f"There {invited.name} chooses a password, and then invites pupils, guardians and "
            "colleagues on the page People. Run this command again for a new link."
        )


def _check(name: str, teacher: str, email: str) -> None:
    if not name or not teacher:
        raise CommandError("The studio and the teacher each need a name of at least a letter.")
    if max(len(name), len(teacher)) > 120:
        raise CommandError("A name has at most 120 characters; give a shorter one.")
    if not (is_one_line(name) and is_one_line(teacher)):
        raise CommandError(SENTENCE)
    try:
        validate_email(email)
    except ValidationError:
        raise CommandError(
            f"{email!r} is no e-mail address; give one such as teacher@studio.example"
        ) from None


def _studio(name: str) -> Studio:
    """A new studio, or the one of this name while no teacher has come to it."""
    studio = Studio.objects.filter(name=name).first()
    if studio is None:
        return Studio.objects.create(name=name)
    if studio.memberships.filter(role=Membership.Role.TEACHER).exists():
        raise CommandError(
            f"There is a studio {name!r} with a teacher already. Its teachers invite others on "
            "the page People; for another studio give another name."
        )
    return studio

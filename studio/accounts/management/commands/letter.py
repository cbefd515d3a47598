from smtplib import SMTPAuthenticationError, SMTPException

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.core.validators import validate_email

from studio.accounts import letters


class Command(BaseCommand):
    help = "Send a letter to an address now, to see whether EMAIL_URL and MAIL_FROM are right."

    def add_arguments(self, parser) -> None:
        parser.add_argument("--to", required=True, metavar="ADDRESS", help="who gets it")

    def handle(self, *args, to: str, **options) -> None:
        if not settings.MAIL:
            raise CommandError("EMAIL_URL is not set: the studio sends no mail.")
        try:
            validate_email(to)
        except ValidationError:
            raise CommandError(f"{to!r} is no address; give one such as you@example.org.") from None
        server = f"{settings.EMAIL_HOST}, port {settings.EMAIL_PORT}"
        try:
            letters.send_test(to)
        except SMTPAuthenticationError:
            raise CommandError(
                f"{server} did not accept the user and password of EMAIL_URL. Nothing was sent."
            ) from None
        except (SMTPException, OSError) as error:
            raise CommandError(
                f"{server} did not take the letter ({error}). Nothing was sent. Look whether "
                "EMAIL_URL names the right host, port and encryption, and MAIL_FROM an address "
                "that this server may send for."
            ) from None
        self.stdout.write(
            f"{server} took a letter from {settings.MAIL_FROM} to {to}. Look whether it arrives, "
            "and not among the unwanted ones."
        )

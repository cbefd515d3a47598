"""Fill an empty database with an invented studio."""

from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from studio.accounts.models import Studio
from studio.demo import keys, people, practising, shelf, takes, week
from studio.demo.history import Historian
from studio.review import phrases


class Command(BaseCommand):
    help = "Load the invented demo studio into an empty database; prints the logins."

    def handle(self, *args, **options) -> None:
        if Studio.objects.exists():
            raise CommandError("There is a studio already; the demo needs an empty database.")
        build = _sample_maker()
        folder = Path(settings.STUDIO_DATA) / "cache"
        cast = people.make_studio()
        historian = Historian(cast, shelf.fill(cast.studio, cast.teacher), build, folder)
        count = len(takes.ANSWERED) + len(takes.WAITING) + 1
        for number, take in enumerate(takes.ANSWERED + takes.WAITING, start=1):
            self.stderr.write(f"Making the demo's clips: {number} of {count} ({take.title})")
            (historian.answer if take.is_answered else historian.send)(take)
        keys.plan(cast)
        practising.note(cast)
        week.plan(cast)
        for kind, text in shelf.PHRASES:
            phrases.add(cast.teacher, cast.studio, kind, text)
        other = people.make_other_studio()
        Historian(other, shelf.fill(other.studio, other.teacher), build, folder).send(
            takes.OTHER_STUDIO
        )
        self._print_logins()

    def _print_logins(self) -> None:
        self.stdout.write(f"Log in with the password {people.PASSWORD} as")
        for login, who in people.LOGINS:
            self.stdout.write(f"  {people.address(login):34} {who}")


def _sample_maker():
    """The sample clips' maker stands beside the package, in the checkout."""
    try:
        from sample_media import make
    except ImportError:
        raise CommandError(
            "The folder sample_media was not found. Start the demo from the project's own folder."
        ) from None
    return make

"""``python -m studio confirm_guardian GUARDIAN PUPIL [--studio NAME]``."""

from django.core.management.base import BaseCommand, CommandError

from studio.accounts import guardians, services
from studio.accounts.models import GuardianLink, Person


class Command(BaseCommand):
    help = (
        "Let a teacher decide about consent for a pupil of her own studio whose guardian she is. "
        "The teacher is linked as a guardian first, on the page People. The pupil and every "
        "guardian are told."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("guardian", help="the e-mail address that the guardian logs in with")
        parser.add_argument("pupil", help="the same of the pupil; or the name of who has neither")
        parser.add_argument("--studio", help="the studio's name, where they share several")

    def handle(self, *args, **options) -> None:
        guardian = _person(options["guardian"])
        pupil = _child(guardian, options["pupil"]) or _person(options["pupil"])
        link = _link(guardian, pupil, options["studio"])
        services.confirm_guardian(link)
        self.stdout.write(
            f"{guardian} decides about consent for {pupil} at {link.studio} from now on, and "
            f"{pupil} and every guardian there are told. It ends with the link."
        )


def _person(address: str) -> Person:
    person = Person.objects.who_logs_in_with(address)
    if person is None:
        raise CommandError(f"Nobody logs in with {address!r}. Look at it once more.")
    return person


def _child(guardian: Person, name: str) -> Person | None:
    """A child of hers who does not log in, by her name."""
    links = guardians.seeing().filter(guardian=guardian, pupil__name__iexact=name.strip())
    children = [link.pupil for link in links.select_related("pupil")]
    found = {child.pk: child for child in children if not child.logs_in_with}
    if len(found) > 1:
        raise CommandError(f"{guardian} answers for {len(found)} children called {name.strip()}.")
    return next(iter(found.values()), None)


def _link(guardian: Person, pupil: Person, studio: str | None) -> GuardianLink:
    links = guardians.seeing().filter(guardian=guardian, pupil=pupil)
    if studio:
        links = links.filter(studio__name=studio)
    found = list(links.select_related("studio", "guardian", "pupil"))
    where = f" at {studio}" if studio else ""
    if not found:
        raise CommandError(
            f"{guardian} is not linked to {pupil} as a guardian{where}. "
            "Link them on the page People first, or look at the studio’s name."
        )
    if len(found) > 1:
        names = " or ".join(f'--studio "{link.studio}"' for link in found)
        raise CommandError(f"They are linked in several studios. Say which: {names}.")
    return found[0]

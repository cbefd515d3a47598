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
        parser.add_argument("pupil", help="the e-mail address that the pupil logs in with")
        parser.add_argument("--studio", help="the studio's name, where they share several")

    def handle(self, *args, **options) -> None:
        guardian, pupil = (_person(options[one]) for one in ("guardian", "pupil"))
        link = _link(guardian, pupil, options["studio"])
        services.confirm_guardian(link)
        self.stdout.write(
            f"{guardian} decides about consent for {pupil} at {link.studio} from now on, and "
            f"{pupil} and every guardian there are told. It ends with the link."
        )


def _person(address: str) -> Person:
    person = Person.objects.filter(email=address.strip().lower()).first()
    if person is None:
        raise CommandError(f"Nobody logs in with {address!r}. Look at the address once more.")
    return person


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

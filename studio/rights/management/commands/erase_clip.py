"""``python -m studio erase_clip ID [--yes]``."""

from uuid import UUID

from django.core.management.base import BaseCommand, CommandError

from studio.clips.models import Clip
from studio.rights.erasure import by_command, requests, words


class Command(BaseCommand):
    help = (
        "Erase one clip with all that was made, measured and said of it. Says what goes and what "
        "stays; does it with --yes."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("clip", type=UUID, help="the clip’s id, as in the address of its page")
        parser.add_argument("--yes", action="store_true", help="do it")

    def handle(self, *args, clip: UUID, yes: bool, **options) -> None:
        found = Clip.objects.filter(pk=clip, erased_at=None)
        one = found.select_related("enrolment__pupil", "enrolment__studio").first()
        if one is None:
            raise CommandError(f"There is no clip {clip}, or it is erased already.")
        by_command.tell(self.stdout, f"The clip {clip}", words.of_clip())
        if yes:
            by_command.do(self.stdout, requests.erase_clip(one, None))

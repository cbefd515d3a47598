from uuid import UUID

from django.core.management.base import BaseCommand, CommandError
from django.db.models import QuerySet

from studio import figures
from studio.accounts.models import Studio
from studio.clips.models import Clip
from studio.clips.processing import rehearing
from studio.intonation import ENGINE


class Command(BaseCommand):
    help = (
        "Let clips that an engine of an earlier generation heard be heard anew, while nothing else "
        "waits: first those that wait for a teacher, then each pupil's latest, then the others, "
        "newest first. Each keeps what was heard until then."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("--studio", help="clips of this studio alone, by its name")
        parser.add_argument(
            "--clip", type=UUID, help="this clip alone, also where hearing it anew has failed"
        )
        parser.add_argument(
            "--all",
            action="store_true",
            help="also what an earlier engine of this generation heard",
        )
        parser.add_argument("--dry-run", action="store_true", help="say how many, and do nothing")

    def handle(self, *args, studio, clip, dry_run: bool, **options) -> None:
        clips = rehearing.outdated(whole_version=options["all"])
        if studio is not None:
            clips = clips.filter(enrolment__studio=_studio(studio))
        if clip is not None:
            clips = clips.filter(pk=clip)
        if not dry_run:
            chosen = clips if clip is not None else rehearing.without_a_stage(clips)
            asked = rehearing.ask_for(rehearing.in_turn(chosen), though_failed=clip is not None)
            self.stdout.write(f"{_clips(asked)} asked for now.")
        self._say(clips)

    def _say(self, clips: QuerySet[Clip]) -> None:
        ill = rehearing.failed(clips)
        work = rehearing.work_of(clips.exclude(pk__in=ill.values("pk")))
        if not work.clips:
            self.stdout.write(f"No clip is to be heard anew: this is engine {ENGINE}.")
        else:
            awaited, latest, others = work.by_reason
            self.stdout.write(
                f"{_clips(work.clips)} to be heard anew, {_time(work.sound_s)} of recordings: "
                f"{awaited} that a teacher waits with, {latest} that are a pupil's latest, "
                f"{others} others."
            )
            self.stdout.write(_how_long(work.takes_s))
            self.stdout.write(
                "New clips go first. The page Service says how many are left, and so does "
                "`python -m studio hear_anew --dry-run`."
            )
        if many := ill.count():
            self.stdout.write(
                f"{_clips(many)} left as heard before: hearing anew has failed. The page Service "
                "says why, and --clip tries one again."
            )


def _studio(name: str) -> Studio:
    found = Studio.objects.filter(name__iexact=name.strip()).first()
    if found is None:
        names = ", ".join(Studio.objects.order_by("name").values_list("name", flat=True)[:20])
        raise CommandError(f"No studio is called {name!r}. There are: {names or 'none'}.")
    return found


def _how_long(takes_s: float | None) -> str:
    if takes_s is None:
        return "How long that takes is known once a clip was heard here."
    return f"At the speed of the last weeks that is {_time(takes_s)} of one listener's idle time."


def _clips(count: int) -> str:
    return figures.count(count, "clip is", "clips are").capitalize()


def _time(seconds: float) -> str:
    """``40 s``, ``12 min``, ``3.5 h``."""
    if seconds < 60:
        return f"{figures.number(seconds, 0)} s"
    if seconds < 3600:
        return f"{figures.number(seconds / 60, 0)} min"
    return f"{figures.number(seconds / 3600, 1)} h"

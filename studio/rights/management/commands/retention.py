"""``python -m studio retention --studio NAME [--recordings DAYS …] [--now] [--yes]``."""

from argparse import SUPPRESS

from django.core.management.base import BaseCommand, CommandError

from studio import figures
from studio.accounts import retention, retention_settings, retention_words
from studio.accounts.by_command import studio_named
from studio.accounts.models import Studio
from studio.accounts.retention import NotTogether, Terms
from studio.accounts.retention_words import ASKED, SPANS
from studio.rights.retention import rounds

NEVER = "never"


class Command(BaseCommand):
    help = (
        "Say how long a studio keeps what, or set it: what would go first is said, and with --yes "
        "it is kept. Families are told before anything goes. With --now what is due is looked for "
        "at once, and what has come to its day goes."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("--studio", required=True, help="its name, as on the page People")
        for kind, (label, *_) in ASKED.items():
            days = ", ".join(f"{days} ({words})" for days, words in SPANS.items())
            also = ", 0 (as long as the recording)" if kind == "figures" else ""
            said = f"{label}, in days: {days}{also}, or {NEVER}"
            parser.add_argument(
                f"--{kind.replace('_', '-')}", type=_days, default=SUPPRESS, help=said
            )
        parser.add_argument("--now", action="store_true", help="look for what is due at once")
        parser.add_argument("--yes", action="store_true", help="keep these times")

    def handle(self, *args, studio: str, now: bool, yes: bool, **options) -> None:
        found = studio_named(studio)
        chosen = {kind: options[kind] for kind in ASKED if kind in options}
        if chosen:
            self._change(found, chosen, yes)
        for line in retention_words.lines_of(retention.of_studio(found)):
            self.stdout.write(line)
        row = retention.row_of(found)
        if row is not None and row.log_days is not None:
            self.stdout.write(f"{ASKED['log'][0]}: {retention_words.in_words(row.log_days)}.")
        if now:
            told = rounds.go_through(found)
            self.stdout.write(f"{figures.count(told, 'person was', 'people were')} told.")

    def _change(self, studio: Studio, chosen: dict[str, int | None], yes: bool) -> None:
        row = retention.row_of(studio)
        present = {kind: getattr(row, f"{kind}_days") for kind in ASKED} if row else {"figures": 0}
        days = {kind: present.get(kind) for kind in ASKED} | chosen
        if any(days[kind] == 0 for kind in ASKED if kind != "figures"):
            raise CommandError("0 is for --figures alone: as long as the recording.")
        log_days = days.pop("log")
        terms = Terms(**days)
        try:
            retention.check(terms)
        except NotTogether as why:
            raise CommandError(str(why)) from None
        if yes:
            retention_settings.change(studio, terms, log_days)
            return
        first = rounds.preview(studio, terms)
        self.stdout.write(
            f"On {figures.long_date(first.on)} would go: "
            f"{figures.count(first.recordings, 'recording', 'recordings')}, "
            f"{figures.count(first.clips, 'whole clip', 'whole clips')}, "
            f"{figures.count(first.drills, 'drill', 'drills')}, "
            f"{figures.count(first.practice, 'entry of practice', 'entries of practice')}, and all "
            "that is left of the "
            f"lessons of {figures.count(first.lessons, 'pupil', 'pupils')}."
        )
        self.stdout.write("Nothing was changed yet. Add --yes to keep these times. Now it is:")


def _days(text: str) -> int | None:
    """A span on offer; None for never."""
    days = figures.whole(text)
    if text == NEVER:
        return None
    if days is None or days not in (*SPANS, 0):
        raise CommandError(f"{text} is none of {', '.join(map(str, SPANS))}, or {NEVER}.")
    return days

"""``python -m studio copy_person WHO FILE [--studio NAME] [--for ADDRESS]``."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.http import Http404

from studio import figures
from studio.accounts import by_command, consent, notices
from studio.accounts.models import Person
from studio.clips.storage.stores import store
from studio.jobs import runner
from studio.rights import access
from studio.rights.access import Scope
from studio.rights.copies import services, work
from studio.rights.copies.models import Copy

TOLD = (
    "Whoever runs the studio’s machine has made a copy of what is kept of {whom}, to be handed to "
    "you. For a day it can be fetched on the page Your data, too."
)


class Command(BaseCommand):
    help = (
        "Make a copy of what is kept of a person, or with --studio of a pupil's lessons, for who "
        "could make it on the page Your data and cannot. It is written to FILE, which must not be "
        "there yet; whoever it is for is told."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument(
            "who", help="what the person logs in with; or, with --studio, the pupil’s whole name"
        )
        parser.add_argument("file", type=Path, help="where the ZIP is written")
        parser.add_argument("--studio", help="the lessons in the studio of this name")
        parser.add_argument(
            "--for", dest="address", help="what the guardian logs in with, where several decide"
        )

    def handle(self, *args, who: str, file: Path, studio=None, address=None, **options) -> None:
        if file.exists():
            raise CommandError(f"{file} is there already. Name another file, or move that one.")
        scope, asker = _lessons(who, studio, address) if studio else _account(who)
        try:
            copy = services.begin(scope, asker)
        except services.NotNow as why:
            raise CommandError(why.sentence) from None
        pk = copy.pk
        runner.take(
            f"copy {pk}", lambda: services.claim(str(pk)), work.make, lambda: services.dispatch(pk)
        )
        copy = Copy.objects.get(pk=pk)
        if copy.state != Copy.State.READY:
            raise CommandError(
                f"It is {copy.get_state_display()}: a worker has it, or it could not be made. Look "
                "at it on the page of the service, and try again."
            )
        with store().local(copy.path) as path, file.open("xb") as target, path.open("rb") as source:
            while piece := source.read(1 << 20):
                target.write(piece)
        whom = "you" if scope.person == asker else scope.person
        notices.tell_each([asker], TOLD.format(whom=whom))
        self.stdout.write(f"{file}: {figures.megabytes(copy.size_bytes)}, for {asker}.")


def _account(who: str) -> tuple[Scope, Person]:
    person = _who(who)
    return access.account_of(person), person


def _lessons(who: str, studio: str, address: str | None) -> tuple[Scope, Person]:
    places = by_command.places_of(who, studio).order_by("-started_on", "-pk")
    place = by_command.the_one(places, who)
    deciders = consent.deciders(place)
    named = _who(address) if address else None
    if named is None and len(deciders) != 1:
        known = " or ".join(str(one.logs_in_with) for one in deciders) or "nobody"
        raise CommandError(f"Say with --for who it is for: {known} decides about {place.pupil}.")
    asker = named or deciders[0]
    try:
        return access.lessons_for(asker, place.pk), asker
    except Http404:
        raise CommandError(f"{asker} does not decide about {place.pupil} at {studio}.") from None


def _who(said: str) -> Person:
    person = Person.objects.who_logs_in_with(said)
    if person is None:
        raise CommandError(f"Nobody logs in with {said!r}. Look at it once more.")
    return person

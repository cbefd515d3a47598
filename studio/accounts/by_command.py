"""What the commands about people and places share: finding who is meant, saying what would be."""

from collections.abc import Iterable

from django.core.management.base import CommandError
from django.db.models import QuerySet

from .models import Enrolment, Membership, Studio, current

Role = Membership.Role


def studio_named(name: str) -> Studio:
    found = Studio.objects.filter(name=name.strip()).first()
    if found is None:
        raise CommandError(f"There is no studio {name!r}. Look at its name on the page People.")
    return found


def teaching(address: str, studio: str | None) -> Membership:
    """The membership of today of the teacher who logs in with this address."""
    found = Membership.objects.filter(
        current(),
        role=Role.TEACHER,
        person__email=address.strip().lower(),
        person__is_active=True,
    ).select_related("person", "studio")
    rows = list(_in(found, studio))
    if not rows:
        raise CommandError(
            f"Nobody who logs in with {address!r} teaches{_at(studio)} today. Look at the address "
            "once more, or let the teachers invite that person first."
        )
    if len(rows) > 1:
        raise CommandError(f"That teacher has several studios. Say which: {_which(rows)}.")
    return rows[0]


def places_of(pupil: str, studio: str | None) -> QuerySet[Enrolment]:
    """The places of a pupil by address, log-in name, or the name alone; ended ones too."""
    said = pupil.strip()
    found = Enrolment.objects.select_related("pupil", "studio", "teacher")
    for field in ("pupil__email", "pupil__login_name", "pupil__name__iexact"):
        value = said if field.endswith("iexact") else said.lower()
        places = _in(found.filter(**{field: value}), studio)
        if places.exists():
            return places
    raise CommandError(
        f"No pupil{_at(studio)} logs in with {pupil!r} or has that name. Look at it once more."
    )


def the_one(places: Iterable[Enrolment], pupil: str) -> Enrolment:
    """The single one of some places."""
    found = list(places)
    if not found:
        raise CommandError(f"There are no such lessons of {pupil}.")
    if len({place.pupil_id for place in found}) > 1:
        raise CommandError(
            f"{len(found)} pupils are called {pupil}. Give an address or a log-in name, or say "
            f"which studio: {_which(found)}."
        )
    if len({place.studio_id for place in found}) > 1:
        raise CommandError(f"{found[0].pupil} has several studios. Say which: {_which(found)}.")
    return found[0]


def say(out, heading: str, lines: Iterable[str]) -> None:
    """Print what would happen, and how to have it done."""
    out.write(f"{heading}:")
    for line in lines:
        out.write(f"  - {line}")
    out.write("Nothing was done yet. Add --yes to do it.")


def _in(found: QuerySet, studio: str | None) -> QuerySet:
    return found.filter(studio=studio_named(studio)) if studio else found


def _at(studio: str | None) -> str:
    return f" at {studio}" if studio else ""


def _which(rows: Iterable[Enrolment | Membership]) -> str:
    return " or ".join(dict.fromkeys(f'--studio "{row.studio}"' for row in rows))

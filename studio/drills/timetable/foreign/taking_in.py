"""Lessons of a calendar's file become planned lessons; those taken before are brought up to date.

A lesson is known again by its ``source``: the event's UID, hashed, and the day it was meant for in
a series. What the file says wins over what was changed here, and what an event no longer has from
the first day on is cancelled; so the same file twice changes nothing.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, time
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from studio.accounts.models import Enrolment, Person, Studio

from .. import telling
from ..models import PlannedLesson

DAY_NOUGHT = date(2000, 1, 1)
WRITTEN = (
    *("enrolment", "day", "at", "zone", "minutes", "where", "series", "number"),
    *("cancelled_at", "sequence", "changed_at"),
)


@dataclass(slots=True)
class Taken:
    """What became of a file."""

    new: list[PlannedLesson] = field(default_factory=list)
    changed: list[PlannedLesson] = field(default_factory=list)
    cancelled: list[PlannedLesson] = field(default_factory=list)


@transaction.atomic
def take_in(
    studio: Studio,
    teacher: Person,
    rows: Iterable[dict],
    chosen: Mapping[str, Enrolment],
    first: date,
) -> Taken:
    """Take in the rows whose ``uid`` has a place in ``chosen``, all of it in ``studio``.

    ``first`` is the day from which on the rows were read.
    """
    Studio.objects.select_for_update().get(pk=studio.pk)  # of two imports one waits
    before = known(studio)
    taken = Taken()
    for row in rows:
        place = chosen.get(row["uid"])
        if place is not None:
            _take_row(row, place, teacher, before, taken, first)
    PlannedLesson.objects.bulk_create(taken.new, batch_size=500)
    PlannedLesson.objects.bulk_update([*taken.changed, *taken.cancelled], WRITTEN, batch_size=200)
    _tell(taken, chosen.values(), teacher)
    return taken


def known(studio: Studio) -> dict[str, PlannedLesson]:
    """What was taken in before, by its source."""
    found = PlannedLesson.objects.filter(enrolment__studio=studio).exclude(source="")
    return {one.source: one for one in found.select_related("enrolment__pupil")}


def _take_row(
    row: dict,
    place: Enrolment,
    teacher: Person,
    before: Mapping[str, PlannedLesson],
    taken: Taken,
    first: date,
) -> None:
    series = UUID(row["uid"][:32]) if len(row["lessons"]) > 1 else None
    stands = set()
    for said in row["lessons"]:
        source = f"{row['uid']}:{said['key']}"
        stands.add(source)
        fields = _fields(said, place) | {"series": series, "number": _number(said)}
        standing = before.get(source)
        if standing is None:
            if not said["cancelled"]:
                fresh = PlannedLesson(source=source, planned_by=teacher, **fields)
                fresh.enrolment = place
                taken.new.append(fresh)
        elif _differs(standing, fields, said["cancelled"]):
            _write(standing, fields, said["cancelled"])
            standing.enrolment = place
            taken.changed.append(standing)
    for source, one in before.items():
        gone = source.startswith(f"{row['uid']}:") and source not in stands
        if gone and one.day >= first and not one.is_cancelled:
            _write(one, {}, cancelled=True)
            taken.cancelled.append(one)


def _number(said: dict) -> int:
    """Its place in a series, the same whenever the file is read: the day it was meant for."""
    return max(0, (date.fromisoformat(said["key"]) - DAY_NOUGHT).days) if said["key"] else 0


def _fields(said: dict, place: Enrolment) -> dict:
    return {
        "enrolment_id": place.pk,
        "day": date.fromisoformat(said["day"]),
        "at": time.fromisoformat(said["at"]),
        "zone": said["zone"],
        "minutes": said["minutes"],
        "where": said["where"],
    }


def _differs(one: PlannedLesson, fields: dict, cancelled: bool) -> bool:
    kept = {name: value for name, value in fields.items() if name not in ("series", "number")}
    return one.is_cancelled != cancelled or any(
        getattr(one, name) != value for name, value in kept.items()
    )


def _write(one: PlannedLesson, fields: dict, cancelled: bool) -> None:
    for name, value in fields.items():
        setattr(one, name, value)
    one.cancelled_at = (one.cancelled_at or timezone.now()) if cancelled else None
    one.sequence += 1
    one.changed_at = timezone.now()


def _tell(taken: Taken, places: Iterable[Enrolment], teacher: Person) -> None:
    for place in {each.pk: each for each in places}.values():
        touched = [*taken.new, *taken.changed, *taken.cancelled]
        telling.taken_in(place, [one for one in touched if one.enrolment_id == place.pk], teacher)

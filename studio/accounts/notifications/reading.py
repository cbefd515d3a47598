"""What somebody may read of what she was told, and the sentences of it.

What is about a pupil whom she has nothing to do with any more is not shown, nor written to her.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import BigIntegerField, Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone

from studio.accounts import guardians
from studio.accounts.models import (
    Enrolment,
    Membership,
    Notice,
    Notification,
    Person,
    Studio,
    current,
)
from studio.accounts.prepared import Given, Prepared

from .kinds import KINDS, WAITING, Kind

MOST = 100  # on a page; what is older goes after 90 days


@dataclass(frozen=True, slots=True)
class Told:
    """One line of the list: ``form`` is what its button posts, empty where there is none."""

    kind: Kind
    sentence: str
    path: str
    at: datetime
    seen: bool
    form: str = ""


def still_hers(rows: QuerySet[Notification] | None = None) -> QuerySet[Notification]:
    """Those of some rows whose lessons go on, and whose reader has to do with the pupil today."""
    place = Enrolment.objects.filter(current(), pupil=OuterRef("about"), studio=OuterRef("studio"))
    link = guardians.seeing().filter(
        guardian=OuterRef("to"), pupil=OuterRef("about"), studio=OuterRef("studio")
    )
    teaches = Membership.objects.filter(
        current(), role=Membership.Role.TEACHER, person=OuterRef("to"), studio=OuterRef("studio")
    )
    reader = Q(about=F("to")) | Q(Exists(link)) | Q(Exists(teaches))
    found = Notification.objects.all() if rows is None else rows
    return found.filter(Exists(place), reader).select_related("about", "by", "studio")


def sentence(row: Notification) -> str:
    """What the reader of a row is told."""
    return KINDS[row.kind].sentence(
        own=row.to_id == row.about_id,
        by=row.by,
        about=row.about,
        what=row.what,
        pupil_did=row.by_id == row.about_id,
    )


def told_to(person: Person) -> list[Told]:
    """What the person was told in her pages, of lessons and of accounts, the newest first."""
    rows = still_hers(Notification.objects.filter(to=person, on_page=True))[:MOST]
    about_account = Notice.objects.filter(to=person).order_by("-created_at", "-pk")[:MOST]
    found = [*map(_of_lessons, rows), *map(_of_account, about_account)]
    return sorted(found, key=lambda one: one.at, reverse=True)[:MOST]


def told_to_child(child: Person, studio: Studio) -> list[Told]:
    """What a child is told of her lessons in one studio, for whoever sees what she sees."""
    rows = Notification.objects.filter(to=child, about=child, studio=studio, on_page=True)
    return [_of_lessons(row) for row in still_hers(rows)[:MOST]]


def has_unseen(person: Person) -> bool:
    """Whether her list has something that she has not seen, and does not stand where she begins:
    what waits has a list of its own there."""
    return bool(_unseen(person=person.pk))


_unseen = Prepared(
    lambda: (
        Notification.objects.filter(
            to=Given("person", BigIntegerField()), on_page=True, seen_at=None
        )
        .exclude(kind=WAITING)
        .order_by()
        .values_list("pk")[:1]
    )
)


def note_seen(person: Person, pks: Iterable[int] | None = None) -> int:
    """Mark what she was told as seen, all of it or some; how many were not yet."""
    rows = Notification.objects.filter(to=person, seen_at=None)
    if pks is not None:
        rows = rows.filter(pk__in=pks)
    return rows.update(seen_at=timezone.now())


def _of_lessons(row: Notification) -> Told:
    kind = KINDS[row.kind]
    return Told(kind, sentence(row), row.path, row.created_at, row.seen_at is not None, str(row.pk))


def _of_account(row: Notice) -> Told:
    kind = KINDS.get(row.kind, KINDS["account"])
    return Told(kind, row.text, "", row.created_at, row.read_at is not None)

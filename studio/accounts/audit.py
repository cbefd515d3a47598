"""What teachers, families and operators did, written with the act and read by the owner."""

from datetime import date, datetime, time
from uuid import UUID

from django.db.models import Q, QuerySet
from django.utils import timezone

from .models import AuditEntry, Membership, Person, Studio, current

Act = AuditEntry.Act


def record(
    act: str,
    *,
    by: Person | None,
    studio: Studio | None,
    about: Person | None = None,
    clip: UUID | None = None,
    detail: str = "",
    as_operator: bool = False,
) -> AuditEntry:
    """Note one act, in the transaction of the act itself.

    ``by`` is nobody for a command of whoever runs the studio's machine. ``detail`` has no names.
    """
    return AuditEntry.objects.create(
        act=act,
        by=by,
        by_operator=as_operator or by is None,
        studio=studio,
        about=about,
        clip_id=clip,
        detail=detail[:120],
    )


def entries(studio: Studio, person: int | None = None, act: str = "") -> QuerySet[AuditEntry]:
    """What was done in a studio, newest first: by or about a person, of one kind."""
    found = AuditEntry.objects.filter(studio=studio).select_related("by", "about")
    if person is not None:
        found = found.filter(Q(by=person) | Q(about=person))
    return found.filter(act=act) if act else found


def people_in(studio: Studio) -> QuerySet[Person]:
    """Who did something there, or had something done about them."""
    rows = AuditEntry.objects.filter(studio=studio)
    named = Q(pk__in=rows.values("by")) | Q(pk__in=rows.values("about"))
    return Person.objects.filter(named).order_by("name", "pk")


# -- the owner -----------------------------------------------------------------------------


def owners(studio: Studio) -> QuerySet[Membership]:
    return Membership.objects.filter(
        current(), studio=studio, role=Membership.Role.TEACHER, is_owner=True
    )


def make_owner(membership: Membership, by: Person | None = None) -> None:
    """From now on this teacher alone is the studio's owner. Call it in a transaction."""
    Membership.objects.filter(studio=membership.studio, is_owner=True).update(is_owner=False)
    Membership.objects.filter(pk=membership.pk).update(is_owner=True)
    record(Act.OWNER_CHANGED, by=by, studio=membership.studio, about=membership.person)


def before(studio: Studio, day: date) -> QuerySet[AuditEntry]:
    """What was done before a day."""
    begins = timezone.make_aware(datetime.combine(day, time.min))
    return AuditEntry.objects.filter(studio=studio, at__lt=begins)

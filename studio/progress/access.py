"""Whose progress may be seen, and of which clips: as the clips themselves.

A teacher sees what was returned, while consent holds; the pupil and the guardians what they can
see of it by now.
"""

from datetime import date, datetime

from django.db.models import BigIntegerField, DateField, QuerySet
from django.utils import timezone

from studio.accounts import access as people
from studio.accounts import consent
from studio.accounts.models import Enrolment, Person
from studio.accounts.prepared import Given, Prepared
from studio.review.access import NOW

from .models import ClipFigures, unpacked
from .playings import LAYOUT, PlayedClip


def taught_place(person: Person, pk: int) -> Enrolment:
    """The place of a pupil in a studio where ``person`` teaches, or 404.

    Raises
    ------
    ConsentMissing
        While consent does not hold.
    """
    enrolment = people.taught_enrolment(person, pk)
    if not enrolment.consented:
        raise consent.ConsentMissing(consent.cannot_watch(enrolment))
    return enrolment


def played_clips(
    enrolment: Enrolment, since: date, *, at_home: bool
) -> tuple[list[PlayedClip], int]:
    """What can be compared of a place, and how many clips an earlier engine heard, so not these."""
    asked: dict[str, int | date | datetime] = {"place": enrolment.pk, "since": since}
    found = _figures(at_home, now=timezone.now(), **asked)
    generation = max((row["generation"] for row in found), default=0)
    same = [unpacked(row) for row in found if row["generation"] == generation]
    return same, len(found) - len(same)


_COLUMNS = ("clip_id", "day", "rows", "drill", "tuning", "key", "a4_hz", "snr_db", "generation")


@Prepared
def _figures(at_home: bool) -> QuerySet:
    rows = ClipFigures.objects.filter(
        clip__enrolment=Given("place", BigIntegerField()),
        clip__erased_at=None,
        layout=LAYOUT,
        day__gte=Given("since", DateField()),
    )
    if at_home:
        rows = rows.filter(clip__review__returned__visible_at__lte=NOW)
    return rows.values(*_COLUMNS)

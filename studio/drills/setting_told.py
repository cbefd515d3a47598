"""Telling of drills that are set: the pupil and the guardians, once they can be seen.

An assignment is claimed by a conditional update, and what is told is rows of the same transaction.
"""

from datetime import timedelta

from django.db import transaction
from django.db.models import QuerySet
from django.db.models.functions import Now
from django.urls import reverse
from django.utils import timezone

from studio.accounts import guardians
from studio.accounts.models import current
from studio.accounts.notifications import kinds, tell_each

from .models import Assignment

STALE = timedelta(days=2)  # what could not be told for so long is no news any more


def tell_due() -> int:
    """Tell of the drills that can be seen by now; how many were told."""
    return sum(_tell(pk) for pk in list(_due().values_list("pk", flat=True)))


def _due() -> QuerySet[Assignment]:
    now = timezone.now()
    return Assignment.objects.filter(
        current("enrolment__"),
        told_at=None,
        done_at=None,
        published_at__lte=now,
        published_at__gt=now - STALE,
    ).order_by("position", "pk")


@transaction.atomic
def _tell(pk: int) -> bool:
    if not Assignment.objects.filter(pk=pk, told_at=None).update(told_at=Now()):
        return False
    one = Assignment.objects.select_related(
        "version", "set_by", "enrolment__pupil", "enrolment__studio"
    ).get(pk=pk)
    place = one.enrolment
    tell_each(
        [place.pupil, *guardians.of(place)],
        kinds.SET,
        key=f"set-{pk}",
        about=place.pupil,
        by=one.set_by,
        studio=place.studio,
        what=one.version.title,
        path=reverse("assignment", kwargs={"pk": pk}),
    )
    return True

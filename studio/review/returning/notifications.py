"""Telling of an answer: the pupil and the guardians, once it can be seen.

Once a person a return: a return is claimed by a conditional update, and what is told is rows of the
same transaction. Where consent does not hold any more, or the clip was erased,
nobody is told.
"""

from datetime import timedelta

from django.db import transaction
from django.db.models import QuerySet
from django.db.models.functions import Now
from django.urls import reverse
from django.utils import timezone

from studio.accounts import consent, guardians
from studio.accounts.models import current
from studio.accounts.notifications import kinds, tell_each
from studio.review.models import Return

STALE = timedelta(days=2)  # what could not be told for so long is no news any more


def tell_due() -> int:
    """Tell of the returns that can be seen by now; how many were told."""
    return sum(_tell(pk) for pk in list(_due().values_list("pk", flat=True)))


def _due() -> QuerySet[Return]:
    return (
        Return.objects.visible()
        .filter(
            consent.holds(
                consent.Purpose.RECORDINGS,
                "review__clip__enrolment__pupil",
                "review__clip__enrolment__studio",
            ),
            current("review__clip__enrolment__"),
            told_at=None,
            visible_at__gt=timezone.now() - STALE,
            review__clip__erased_at=None,
        )
        .order_by("visible_at", "pk")
    )


@transaction.atomic
def _tell(pk: int) -> bool:
    if not Return.objects.filter(pk=pk, told_at=None).update(told_at=Now()):
        return False
    returned = Return.objects.select_related(
        "returned_by", "review__clip__enrolment__pupil", "review__clip__enrolment__studio"
    ).get(pk=pk)
    clip = returned.review.clip
    place = clip.enrolment
    tell_each(
        [place.pupil, *guardians.of(place)],
        kinds.RETURNED,
        key=f"returned-{returned.pk}",
        about=place.pupil,
        by=returned.returned_by,
        studio=place.studio,
        path=reverse("clip_page", kwargs={"clip_id": clip.pk}),
    )
    return True

"""Letters that tell of an answer: to the pupil and the guardians, once it can be seen.

One letter a person a return: a return is claimed by a conditional update, and its letters are
rows of the same transaction. Where consent does not hold any more, or the clip was erased,
nobody is told.
"""

from datetime import timedelta

from django.db import transaction
from django.db.models import QuerySet
from django.db.models.functions import Now
from django.urls import reverse
from django.utils import timezone

from studio.accounts import consent, guardians, letters
from studio.accounts.models import Enrolment, Person, current
from studio.review.models import Return

STALE = timedelta(days=2)  # what could not be told for so long is no news any more


def tell_due() -> int:
    """Write the letters of the returns that can be seen by now; how many returns were told."""
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
        .exclude(site="")
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
    link = returned.site + reverse("clip_page", kwargs={"clip_id": clip.pk})
    for reader in _readers(clip.enrolment):
        letters.post_answer(reader, returned.returned_by, clip.enrolment.pupil, link)
    return True


def _readers(enrolment: Enrolment) -> list[Person]:
    """The pupil, and the guardians that the studio knows."""
    everyone = [enrolment.pupil, *guardians.of(enrolment)]
    return [person for person in everyone if person.is_active]

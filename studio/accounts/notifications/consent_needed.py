"""Telling who decides that consent is needed: once for each time that it came to be missing.

Not on the first day of lessons, when it is asked for anyway, and not where somebody withdrew it:
that was a decision, and nobody is asked to take it back.
"""

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from studio.accounts import consent
from studio.accounts.models import Enrolment, current

from . import kinds
from .telling import tell_each


def tell_due() -> int:
    """Tell of every place in which consent is missing; how many people were told."""
    missing = Enrolment.objects.filter(current(), started_on__lt=timezone.localdate())
    missing = missing.exclude(consent.holds(consent.Purpose.RECORDINGS))
    return sum(map(_tell, missing.select_related("pupil", "studio")))


@transaction.atomic
def _tell(place: Enrolment) -> int:
    now = consent.standing(place)
    if now.last is not None and now.last.withdrawn_at is not None:
        return 0
    return tell_each(
        consent.deciders(place),
        kinds.CONSENT,
        key=f"consent-{place.pk}-{now.words.version}-{now.mark}",
        about=place.pupil,
        studio=place.studio,
        path=reverse("consent", kwargs={"pk": place.pk}),
    )

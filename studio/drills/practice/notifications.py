"""Teacher and guardians are told where an entry brings the caution: once a day, and not of what.

What was noted stands on the pupil's page; what is told, on a page or by letter, repeats none of it.
"""

from django.urls import reverse

from studio.accounts import consent, guardians
from studio.accounts.models import Enrolment, Person
from studio.accounts.notifications import kinds, tell_each

from . import cautions
from .cautions import Reason
from .models import PracticeEntry


def reasons_of(entry: PracticeEntry) -> tuple[Reason, ...]:
    """Why an entry brings the caution."""
    lengths = cautions.lengths_of(consent.is_grown_up(entry.enrolment.pupil))
    return cautions.reasons(entry.unbroken_min, entry.hurt, lengths)


def tell(entry: PracticeEntry) -> int:
    """Tell who is to know of an entry that brings the caution; how many were told now.

    Call it in the transaction of the change. Whoever noted it has read the caution already, and
    nobody is told twice of one day.
    """
    if not reasons_of(entry):
        return 0
    place = entry.enrolment
    return tell_each(
        [one for one in _readers(place) if one != entry.made_by],
        kinds.CAUTION,
        key=f"practice-{place.pk}-{entry.day.isoformat()}",
        about=place.pupil,
        studio=place.studio,
        path=reverse("practice", args=[place.pk]),
    )


def _readers(place: Enrolment) -> list[Person]:
    """The pupil's teacher, and the guardians that the studio knows."""
    return [place.teacher, *guardians.of(place)]

"""Teacher and guardians are told where an entry brings the caution: once a day, and not of what.

What was noted stands on the pupil's page; a notice or a letter about it repeats none of it.
"""

from django.utils.translation import gettext as _

from studio import figures
from studio.accounts import consent, guardians, notices
from studio.accounts.models import Enrolment, Person

from . import cautions
from .cautions import Reason
from .models import CautionTold, PracticeEntry


def reasons_of(entry: PracticeEntry) -> tuple[Reason, ...]:
    """Why an entry brings the caution."""
    lengths = cautions.lengths_of(consent.is_grown_up(entry.enrolment.pupil))
    return cautions.reasons(entry.unbroken_min, entry.hurt, lengths)


def tell(entry: PracticeEntry) -> bool:
    """Tell who is to know of an entry that brings the caution; whether anybody was told now.

    Call it in the transaction of the change. Whoever noted it has read the caution already.
    """
    if not reasons_of(entry):
        return False
    place = entry.enrolment
    _row, is_first = CautionTold.objects.get_or_create(enrolment=place, day=entry.day)
    if not is_first:
        return False
    readers = [one for one in _readers(place) if one != entry.made_by]
    _post(readers, place, entry)
    return bool(readers)


def _post(readers: list[Person], place: Enrolment, entry: PracticeEntry) -> None:
    """The one way in which such a notice leaves."""
    said = _(
        "With {pupil}’s practice of {day} the caution was shown that says when to rest. Please "
        "read what was noted on {pupil}’s page, and speak with {pupil}."
    )
    day = figures.long_date(entry.day)
    notices.tell_each(readers, said.format(pupil=place.pupil, day=day))


def _readers(place: Enrolment) -> list[Person]:
    """The pupil's teacher, and the guardians that the studio knows."""
    return [place.teacher, *guardians.of(place)]

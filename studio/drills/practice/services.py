"""Practice is noted, changed and taken back by whoever noted it.

Nothing is noted while consent to the pupil's lessons does not hold. Each press counts once, by the
key that its page chose, however often a bad line brings it.
"""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts import consent
from studio.accounts.consent import ConsentMissing
from studio.accounts.models import Enrolment, Person
from studio.accounts.notifications import schedule
from studio.drills.models import Assignment

from . import notifications
from .models import MOST_DAYS_BACK, PracticeEntry

MOST_A_DAY = 24  # entries of one pupil's day; chosen: far above use, far below a nuisance


class TooMany(Exception):
    """A day has as many entries as are taken in; the text is for the person."""


@dataclass(frozen=True, slots=True)
class Practised:
    """What somebody says of some minutes; as the fields of :class:`PracticeEntry`."""

    day: date
    minutes: int
    unbroken_min: int | None = None
    hand: str = ""
    word: str = ""
    assignment: Assignment | None = None


def today_of(person: Person) -> date:
    """The day where a person is, as far as she has said where that is."""
    return timezone.localdate(timezone=schedule.zone_of(schedule.times_of(person)))


def days_open() -> tuple[date, date]:
    """The first and last day that can be noted; where it is tomorrow already counts too."""
    today = timezone.localdate()
    return today - timedelta(days=MOST_DAYS_BACK), today + timedelta(days=1)


@transaction.atomic
def note(place: Enrolment, author: Person, said: Practised, key: str = "") -> PracticeEntry:
    """Keep an entry. The same key again gives the entry that was kept with it, as it is by now.

    Raises
    ------
    ConsentMissing
        While consent does not hold.
    TooMany
        When the day has ``MOST_A_DAY`` entries.
    """
    require_consent(place)
    Enrolment.objects.select_for_update().get(pk=place.pk)  # one press at a time
    mine = PracticeEntry.objects.filter(made_by=author)
    before = mine.filter(form_key=key).first() if key else None
    if before is not None:
        return before
    if PracticeEntry.objects.filter(enrolment=place, day=said.day).count() >= MOST_A_DAY:
        raise TooMany(
            _(
                "This day has {count} entries, and more are not taken in. "
                "Change one of them, or choose another day."
            ).format(count=MOST_A_DAY)
        )
    entry = PracticeEntry.objects.create(
        enrolment=place, made_by=author, form_key=key, **_fields(said)
    )
    notifications.tell(entry)
    return entry


@transaction.atomic
def change(entry: PracticeEntry, said: Practised) -> None:
    """Say otherwise what was noted.

    Raises
    ------
    ConsentMissing
        While consent does not hold.
    """
    require_consent(entry.enrolment)
    for name, value in _fields(said).items():
        setattr(entry, name, value)
    entry.save()
    notifications.tell(entry)


def remove(entry: PracticeEntry) -> None:
    """Take an entry back. It needs no consent: less is kept then."""
    entry.delete()


def require_consent(place: Enrolment) -> None:
    """Raise :class:`ConsentMissing` unless consent holds."""
    if not consent.is_given(place):
        raise ConsentMissing(not_agreed())


def not_agreed() -> str:
    return _(
        "Practice is noted here only while consent to recordings holds. What was noted before can "
        "still be read at home. Who may agree finds it under Consent."
    )


def _fields(said: Practised) -> dict:
    return {name: getattr(said, name) for name in said.__slots__}

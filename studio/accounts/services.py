"""What changes several rows about people."""

from django.conf import settings
from django.db import IntegrityError, transaction
from django.utils import timezone

from . import letters, notices
from .models import Enrolment, Instrument, Person


class AddressTaken(Exception):
    """Somebody logs in with that address already."""


def change_address(person: Person, email: str) -> None:
    """From now on ``person`` logs in with another address; the guardians are told.

    Raises
    ------
    AddressTaken
    """
    before = person.email
    changed = f"was changed on {notices.when(timezone.now())}, from {before} to {email}."
    try:
        with transaction.atomic():
            Person.objects.filter(pk=person.pk).update(email=email)
            notices.tell(
                person,
                f"Your address {changed} If that was not you, change your password at once.",
                f"The address of the account of {person} {changed} If {person} did not want that, "
                "let the password be changed at once.",
            )
            if settings.MAIL:
                letters.post_about_account(before, person.name, f"Your address {changed}")
    except IntegrityError:
        raise AddressTaken from None
    person.email = email


@transaction.atomic
def change_instrument(enrolment: Enrolment, kind: str, string_length_mm: float) -> Instrument:
    """What the pupil plays from today. Earlier rows are kept, because measurements used them."""
    today = timezone.localdate()
    now = enrolment.instrument()
    if now is None or now.started_on < today:
        if now is not None and (now.kind, now.string_length_mm) == (kind, string_length_mm):
            return now
        enrolment.pupil.instruments.filter(ended_on=None).update(ended_on=today)
        return Instrument.objects.create(
            pupil=enrolment.pupil, kind=kind, string_length_mm=string_length_mm, started_on=today
        )
    now.kind, now.string_length_mm = kind, string_length_mm
    now.save(update_fields=["kind", "string_length_mm"])
    return now

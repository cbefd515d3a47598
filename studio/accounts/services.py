"""What changes several rows about people."""

from django.db import transaction
from django.utils import timezone

from .models import Enrolment, Instrument


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

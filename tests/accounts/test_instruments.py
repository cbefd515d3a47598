from datetime import timedelta

from django.utils import timezone

from studio.accounts.models import Instrument
from studio.accounts.services import change_instrument


def test_another_instrument_ends_the_one_before_and_keeps_it(cast):
    month_ago = timezone.localdate() - timedelta(days=30)
    Instrument.objects.filter(pupil=cast.pupil).update(started_on=month_ago)
    change_instrument(cast.enrolment, "viola", 362.0)
    before, now = Instrument.objects.filter(pupil=cast.pupil).order_by("pk")
    assert (before.string_length_mm, before.ended_on) == (328.0, timezone.localdate())
    assert cast.enrolment.instrument() == now
    assert (now.kind, now.string_length_mm) == ("viola", 362.0)


def test_two_changes_on_one_day_make_one_row(cast):
    change_instrument(cast.enrolment, "violin", 310.0)
    change_instrument(cast.enrolment, "violin", 312.0)
    assert [row.string_length_mm for row in Instrument.objects.filter(pupil=cast.pupil)] == [312.0]


def test_the_same_again_changes_nothing(cast):
    month_ago = timezone.localdate() - timedelta(days=30)
    Instrument.objects.filter(pupil=cast.pupil).update(started_on=month_ago)
    change_instrument(cast.enrolment, "violin", 328.0)
    assert Instrument.objects.get(pupil=cast.pupil).started_on == month_ago

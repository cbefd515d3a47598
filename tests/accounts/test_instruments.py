"""What a pupil plays: dated, and its string length measured or taken from a size.

The lengths of sizes are common practice, no source; makers differ.
"""

from datetime import timedelta

import pytest
from django.utils import timezone

from studio.accounts.family_forms import ChildForm
from studio.accounts.forms import LONGEST_STRING_MM, SHORTEST_STRING_MM, PupilForm
from studio.accounts.models import Instrument
from studio.accounts.services import change_instrument
from studio.accounts.string_sizes import SIZES


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


@pytest.mark.parametrize("size", SIZES)
def test_a_size_stands_for_its_usual_string_length(size):
    """GIVEN a length that stood in the form WHEN a size is chosen THEN that is meant."""
    kind, length = SIZES[size]
    said = {"level": "growing", "kind": kind, "size": size, "string_length_mm": "328"}
    form = PupilForm(said)
    assert form.is_valid()
    assert form.cleaned_data == {"level": "growing", "kind": kind, "string_length_mm": length}
    assert SHORTEST_STRING_MM <= length <= LONGEST_STRING_MM


def test_larger_sizes_have_longer_strings():
    for kind in Instrument.Kind.values:
        lengths = [length for of, length in SIZES.values() if of == kind]
        assert len(lengths) >= 5
        assert lengths in (sorted(lengths), sorted(lengths, reverse=True))


def test_without_a_size_a_pupils_length_is_asked_for_and_a_measured_one_counts():
    said = {"level": "growing", "kind": "violin", "size": "", "string_length_mm": ""}
    assert "string_length_mm" in PupilForm(said).errors
    measured = PupilForm(said | {"string_length_mm": "301.5"})
    assert measured.is_valid()
    assert measured.cleaned_data["string_length_mm"] == 301.5
    by_size = PupilForm(said | {"size": "violin 3/4"})
    assert by_size.is_valid()


def test_the_size_of_another_instrument_is_refused():
    year = timezone.localdate().year - 9
    said = {"name": "Ida", "birth_year": str(year), "kind": "violin", "size": "viola 15"}
    form = ChildForm(said)
    assert "This is the size of a viola" in str(form.errors["size"])
    assert ChildForm(said | {"kind": "viola"}).is_valid()

"""The page on which a clip is recorded: what it listens for, and who may use a camera."""

import pytest
from django.urls import reverse

from studio.accounts.models import Instrument
from studio.review.web.recording import open_strings
from tests.cast import as_person, make_clip, make_drill, set_for

ALLOWED, FORBIDDEN = "camera=(self), microphone=(self)", "camera=(), microphone=()"


def test_only_pages_with_a_recorder_may_ask_for_camera_and_microphone(cast):
    pupil, teacher = as_person(cast.pupil), as_person(cast.teacher)
    clip = make_clip(cast.enrolment)
    desk = teacher.get(reverse("clip_page", args=[clip.pk]))
    for response in (pupil.get(reverse("record")), desk):
        assert response.headers["Permissions-Policy"].startswith(ALLOWED)
    for name in ("queue", "send", "account"):
        assert pupil.get(reverse(name)).headers["Permissions-Policy"].startswith(FORBIDDEN)


def test_it_listens_for_the_strings_of_the_pupils_instrument_at_the_studios_a(cast):
    """Pure fifths from A: 3/2 each (arithmetic); equal temperament by ISO 16:1975's A4."""
    told = open_strings(cast.enrolment)
    assert told["a4_hz"] is None
    assert [string["name"] for string in told["strings"]] == ["G", "D", "A", "E"]
    assert told["strings"][0]["pure"] == pytest.approx(440 / 1.5 / 1.5, abs=1e-4)
    assert told["strings"][3]["equal"] == pytest.approx(659.255, abs=1e-3)
    Instrument.objects.filter(pupil=cast.pupil).delete()
    Instrument.objects.create(
        pupil=cast.pupil, studio=cast.studio, kind="viola", started_on=cast.enrolment.started_on
    )
    cast.studio.a4_hz = 442.0
    cast.enrolment.studio = cast.studio
    told = open_strings(cast.enrolment)
    assert [string["name"] for string in told["strings"]] == ["C", "G", "D", "A"]
    assert told["strings"][0]["pure"] == pytest.approx(442 / 1.5**3, abs=1e-4)


def test_the_drill_that_is_recorded_is_beside_it_and_chosen_in_the_form(cast):
    one = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "Sixths in words"))
    page = as_person(cast.pupil).get(reverse("record"), {"assignment": one.pk})
    assert page.context["chosen"] == one
    assert f'<option value="{one.pk}" selected>Sixths in words</option>' in page.text
    for foreign in (0, "x", one.pk + 1000):
        other = as_person(cast.pupil).get(reverse("record"), {"assignment": foreign})
        assert other.context["chosen"] is None

"""At the desk: a drill that does not suit what the pupil plays is said before it is set."""

import re

import pytest

from studio.accounts.models import Instrument
from studio.drills.models import Assignment
from studio.drills.services import add_made
from studio.notation import Request, generate
from tests.cast import as_person, make_drill
from tests.review.heard_clip import heard_clip
from tests.review.prescribed import form_of, shown

OCTAVES = Request(key="C major", interval="octaves", octaves=2, manner="together", start=1)
SAID = "is for the violin, and {} plays the viola: its strings and fingers do not fit."


@pytest.fixture
def clip(cast):
    return heard_clip(cast.enrolment)


@pytest.fixture
def teacher(cast):
    return as_person(cast.teacher)


def play_viola(cast) -> None:
    Instrument.objects.filter(pupil=cast.pupil).update(kind="viola", string_length_mm=360)


@pytest.mark.parametrize("script", [True, False])
def test_from_the_shelf(cast, clip, teacher, script):
    drill = add_made(cast.studio, cast.teacher, OCTAVES, generate(OCTAVES))
    play_viola(cast)
    address, headers = f"/clips/{clip.pk}/drills/", {"X-Desk": "parts"} if script else {}
    answer = teacher.post(address, {"drill": drill.pk, "goal": "Still hands"}, headers=headers)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert SAID.format(cast.pupil) in html
    assert "Make it for the viola" in html
    assert 'value="Still hands"' in html
    assert not Assignment.objects.exists()
    name = re.search(r'name="all_the_same"\s+value="([^"]+)"', html)[1]
    teacher.post(address, {"drill": drill.pk, "all_the_same": name}, headers=headers)
    assert Assignment.objects.get().version == drill.newest()


def test_from_here_a_page_of_the_shelf_that_goes_too_low(cast, clip, teacher):
    """A page that says violin and goes below it, as files from elsewhere may."""
    score = generate(OCTAVES).to_dict()
    score["written"] = [
        item | {"pitches": ["C3", "C4"], "strings": [None, None], "fingers": [None, None]}
        for item in score["written"]
    ]
    make_drill(cast.teacher, cast.studio, "Low", key="C major", score=score)
    here = f"/clips/{clip.pk}/drills/from-here/?mark=0"
    low = next(one for one in shown(teacher.get(here)) if one.title == "Low")
    answer = teacher.post(here, form_of(low))
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "C3 in bar 1 lies below the violin’s lowest string, G3." in html
    assert not Assignment.objects.exists()
    name = re.search(r'name="all_the_same"\s+value="([^"]+)"', html)[1]
    teacher.post(here, form_of(low) | {"all_the_same": name})
    assert Assignment.objects.count() == 1


def test_from_here_a_drill_seen_before_the_pupil_changed_to_the_viola(cast, clip, teacher):
    here = f"/clips/{clip.pk}/drills/from-here/?mark=0"
    first = shown(teacher.get(here))[0]
    play_viola(cast)
    answer = teacher.post(here, form_of(first))
    html = answer.content.decode()
    assert answer.status_code == 422
    assert SAID.format(cast.pupil) in html
    assert "What is proposed below is for the viola." in html
    assert {one.score.instrument for one in shown(answer)} == {"viola"}
    assert not Assignment.objects.exists()

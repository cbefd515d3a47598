"""A stored page that cannot be read or drawn: every page that shows it does so without it."""

import pytest

from studio.drills import sheets
from studio.drills.models import DrillVersion
from studio.notation import Request, engraving, generate
from studio.review.models import Review
from studio.review.ttl_cache import TtlCache
from studio.review.web.desk import score_page
from tests.cast import as_person, make_drill, set_for
from tests.review.heard_clip import heard_clip

pytestmark = pytest.mark.django_db

SAID = "cannot be drawn just now"
DAMAGED = ({"title": "No notes"}, [1, 2], "words", {"written": "none", "bars": 7})


@pytest.fixture
def assignment(cast):
    score = generate(Request(interval="octaves", key="G major"))
    drill = make_drill(cast.teacher, cast.studio, words="Hold each one.", score=score.to_dict())
    return set_for(cast.enrolment, drill)


def pages(cast, assignment) -> dict:
    """What each person reads at each address of the drill, by its last part."""
    drill, teacher, pupil = assignment.version.drill_id, cast.teacher, cast.pupil
    asked = {
        f"/drills/{drill}/": teacher,
        f"/drills/{drill}/paper/": teacher,
        f"/assignments/{assignment.pk}/": pupil,
        f"/assignments/{assignment.pk}/paper/": pupil,
    }
    return {address: as_person(who).get(address) for address, who in asked.items()}


def test_what_can_be_drawn_is(cast, assignment):
    for address, answer in pages(cast, assignment).items():
        assert answer.status_code == 200, address
        assert SAID not in answer.text
        assert "<svg" in answer.text


def test_a_page_that_the_engraver_refuses_is_said(cast, assignment, monkeypatch):
    def refuse(*args, **kwargs):
        raise engraving.NotEngraved("the engraver could not load the score; its log says why")

    monkeypatch.setattr(sheets, "engrave", refuse)
    for address, answer in pages(cast, assignment).items():
        assert answer.status_code == 200, address
        assert SAID in answer.text
        assert "Hold each one." in answer.text

    monkeypatch.setattr(score_page, "engrave", refuse)
    monkeypatch.setattr(score_page, "_DRAWN", TtlCache(1, 60))
    clip = heard_clip(cast.enrolment)
    Review.objects.filter(clip=clip).update(answers=assignment)
    assert as_person(cast.teacher).get(f"/clips/{clip.pk}/").status_code == 200


@pytest.mark.parametrize("stored", DAMAGED, ids=repr)
def test_a_score_that_cannot_be_read_is_said(cast, assignment, stored):
    DrillVersion.objects.filter(pk=assignment.version_id).update(score=stored)
    for address, answer in pages(cast, assignment).items():
        if address.endswith("paper/"):
            assert answer.status_code == 404, address
        else:
            assert answer.status_code == 200, address
            assert SAID in answer.text

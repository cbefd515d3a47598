"""With a drill: its page above the ledger, and the rows in the order written."""

import re

import pytest

from studio.drills import services as drills
from studio.notation import Request, generate
from studio.review.desk.ledger import Block, in_written_order
from studio.review.services import begin_review
from tests.cast import as_person, set_for
from tests.review.heard_clip import heard_clip

SCORE = generate(Request(key="C major", interval="octaves", direction="up", manner="together"))


@pytest.fixture
def html(cast) -> str:
    drill = drills.add_drill(
        cast.studio, cast.teacher, title="C major", words="Slowly", score=SCORE.to_dict()
    )
    clip = heard_clip(cast.enrolment)
    begin_review(clip, set_for(cast.enrolment, drill))
    return as_person(cast.teacher).get(f"/clips/{clip.pk}/").content.decode()


def test_every_written_note_stands_above_the_ledger_once(html):
    page = html[: html.index('class="blocks')]
    refs = re.findall(r'data-ref="([^"]+)"', page)
    assert sorted(refs) == sorted(item.id for item in SCORE.written)


def test_what_was_measured_stands_under_its_note_and_is_read_aloud(html):
    page = html[: html.index('class="blocks')]
    assert "+30" in page
    assert "last 30 ± 1 cents wide" in page


def test_rows_say_which_note_they_are(html):
    rows = html[html.index('class="blocks') :]
    assert re.findall(r'<li class="block[^>]*data-ref="([^"]+)"', rows) == ["n1", "n2", "n3"]


def test_without_a_drills_page_there_is_no_score(cast):
    clip = heard_clip(cast.enrolment)
    html = as_person(cast.teacher).get(f"/clips/{clip.pk}/").content.decode()
    assert "<drill-sheet" not in html
    assert "score.css" not in html


def test_rows_follow_the_page_and_what_is_not_on_it_stays_with_its_neighbour():
    played = [
        Block("whole", "whole", 0.0, 0.0),
        Block("a", "run", 1.0, 2.0, ref="n2"),
        Block("b", "singles", 3.0, 4.0),
        Block("c", "run", 5.0, 6.0, ref="n1"),
    ]
    ordered = [block.key for block in in_written_order(played, ["n1", "n2"])]
    assert ordered == ["whole", "c", "a", "b"]

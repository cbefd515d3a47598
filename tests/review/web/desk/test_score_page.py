"""With a drill: its page above the ledger, and the rows in the order written."""

import re

import pytest

from studio.drills import services as drills
from studio.notation import Request, generate
from studio.review.marks.judging import Heard, judged
from studio.review.models import Comment, Review
from studio.review.returning.services import return_clip
from studio.review.waiting.submissions import begin_review
from studio.review.web.desk.blocks import Block
from studio.review.web.desk.ledger import in_written_order, shared_blocks
from tests.cast import as_person, set_for
from tests.review.heard_clip import heard_clip

SCORE = generate(
    Request(key="C major", interval="octaves", direction="up", manner="together", start=1)
)


@pytest.fixture
def clip(cast):
    """Three octaves, for a drill with a page."""
    drill = drills.add_drill(
        cast.studio, cast.teacher, title="C major", words="Slowly", score=SCORE.to_dict()
    )
    clip = heard_clip(cast.enrolment)
    begin_review(clip, set_for(cast.enrolment, drill))
    return clip


@pytest.fixture
def html(cast, clip) -> str:
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


def test_a_double_stop_that_belongs_to_no_run_has_its_own_row(cast, clip):
    judgement = judged(Review.objects.get(clip=clip))
    alone = {**judgement.judgement, "runs": [], "marks": []}
    heard = Heard(judgement.measurement, alone)
    blocks = in_written_order(shared_blocks(heard), [item.id for item in SCORE.written])
    stops = [block for block in blocks if block.kind == "run"]
    assert len(stops) == 4
    assert all(block.ref == "" and len(block.rows) == 1 for block in stops)


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


def test_a_comment_on_a_note_says_which_at_the_desk_and_at_home(cast, clip):
    client = as_person(cast.teacher)
    said = {"kind": "left_hand", "text": "Lighter.", "start_s": "12", "score_ref": "n2"}
    client.post(f"/clips/{clip.pk}/comments/", said)
    comment = Comment.objects.get()
    assert comment.score_ref == "n2"
    words = "On D4 and D5 together, perfect octave, bar "
    assert words in client.get(f"/clips/{clip.pk}/").content.decode()
    edited = said | {"text": "Lighter still.", "score_ref": "n3", "version": "1"}
    client.post(f"/clips/{clip.pk}/comments/{comment.pk}/", edited)
    assert Comment.objects.get().score_ref == "n3"
    return_clip(Review.objects.get(clip=clip), cast.teacher, "")
    home = as_person(cast.pupil).get(f"/clips/{clip.pk}/").content.decode()
    assert "On E4 and E5 together, perfect octave, bar " in home


def test_a_comment_on_a_note_that_is_not_written_is_refused(cast, clip):
    said = {"kind": "bow", "text": "More.", "start_s": "1", "score_ref": "n999"}
    answer = as_person(cast.teacher).post(f"/clips/{clip.pk}/comments/", said)
    assert answer.status_code == 422
    assert "That note is not in the drill" in answer.content.decode()
    assert not Comment.objects.exists()


def test_the_picture_shows_strings_and_fingers_where_the_drill_says_them(cast, clip):
    address = "/clips/{}/desk.json"
    drawn = as_person(cast.teacher).get(address.format(clip.pk)).json()
    assert drawn["strings"] == ["E", "A", "D", "G"]
    events = drawn["events"]
    assert len(events["strings"]) == len(events["fingers"]) == sum(events["voices"])
    places, at = [], 0
    for kind, voices in zip(events["kinds"], events["voices"], strict=True):
        found = list(zip(events["strings"][at:], events["fingers"][at:], strict=True))[:voices]
        places += [found] if kind == "d" else []
        at += voices
    asked = {item.id: item for item in SCORE.written}
    written = [
        list(zip(asked[n].strings, asked[n].fingers, strict=True)) for n in ("n1", "n2", "n3")
    ]
    assert places == [written[0], written[0], written[1], written[2]]  # the first was played twice
    other = heard_clip(cast.enrolment, "No drill")
    plain = as_person(cast.teacher).get(address.format(other.pk)).json()
    assert "strings" not in plain
    assert "strings" not in plain["events"]

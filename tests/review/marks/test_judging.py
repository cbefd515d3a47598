"""A clip that answers a drill with a score is judged by what is written there."""

import pytest

from studio.drills import services as drills
from studio.notation import Request, generate
from studio.review.marks.judging import judged
from studio.review.waiting.submissions import begin_review
from tests.cast import set_for
from tests.review.heard_clip import heard_clip

SCORE = generate(
    Request(key="C major", interval="octaves", direction="up", manner="together", start=1)
)


@pytest.fixture
def drill(cast):
    return drills.add_drill(
        cast.studio, cast.teacher, title="C major", words="Slowly", score=SCORE.to_dict()
    )


def judgement(cast, drill, **goal) -> dict:
    review = begin_review(heard_clip(cast.enrolment), set_for(cast.enrolment, drill, **goal))
    return judged(review).judgement


def test_what_was_heard_is_told_by_the_ids_of_the_written_notes(cast, drill):
    heard = [
        (note["ref"], note["state"], len(note["playings"]))
        for note in judgement(cast, drill)["following"]["notes"][:4]
    ]
    assert heard == [
        ("n1", "played", 2),
        ("n2", "played", 1),
        ("n3", "played", 1),
        ("n4", "not_reached", 0),
    ]


def test_without_a_score_nothing_is_followed(cast):
    written = drills.add_drill(cast.studio, cast.teacher, title="C major", words="Slowly")
    assert judgement(cast, written).get("following") is None


def test_the_tolerance_set_with_the_drill_stands_above_the_levels(cast, drill):
    assert len(judgement(cast, drill)["marks"]) == 2
    assert judgement(cast, drill, tolerance_cents=50)["marks"] == []


@pytest.mark.parametrize(("pattern", "melody"), [("one_string", True), ("scale", False)])
def test_notes_of_a_drill_made_as_a_single_line_are_judged_by_a_melodic_tuning(
    cast, pattern, melody
):
    """A double stop is judged pure; notes one after another are not (Loosen 1993)."""
    asked = Request(pattern=pattern, key="C major", direction="up", manner="together")
    made = drills.add_made(cast.studio, cast.teacher, asked, generate(asked))
    policy = judgement(cast, made)["policy"]
    assert (policy["judge_singles"], policy["melodic_tuning"]) == (melody, "equal")


def test_single_notes_of_a_page_are_judged_where_the_drill_was_set_so(cast, drill):
    policy = judgement(cast, drill, single_notes="pythagorean")["policy"]
    assert (policy["judge_singles"], policy["melodic_tuning"]) == (True, "pythagorean")

"""What the desk works out once for a judgement, and what it must not share."""

import html

import pytest

from studio.accounts.models import Enrolment
from studio.intonation import Policy
from studio.review.comments import CommentText, add_comment
from studio.review.marks import judging
from studio.review.marks.judging import judge_listening, judged
from studio.review.models import Comment
from studio.review.web.desk import ledger_html
from studio.review.web.desk.ledger import blocks_of
from tests.cast import as_person
from tests.review.heard_clip import heard_clip, listen_again, measurement, review_of


@pytest.fixture
def clip(cast):
    return heard_clip(cast.enrolment)


@pytest.fixture
def judgements(monkeypatch) -> list:
    """The policies by which something was judged anew."""
    seen: list = []
    real = judging.judge

    def counted(measurement, policy, *more, **pinned):
        seen.append(policy)
        return real(measurement, policy, *more, **pinned)

    monkeypatch.setattr(judging, "judge", counted)
    return seen


def test_a_page_its_picture_and_a_decision_are_judged_once(cast, clip, judgements):
    listen_again(clip)
    teacher = as_person(cast.teacher)
    teacher.get(f"/clips/{clip.pk}/")
    teacher.get(f"/clips/{clip.pk}/desk.json")
    said = {"choice": "kept", "listening": clip.listenings.last().pk, "seen": ""}
    assert teacher.post(f"/clips/{clip.pk}/marks/0/", said).status_code == 302
    assert len(judgements) == 1


def test_another_level_or_policy_is_judged_anew(clip, judgements):
    review = review_of(clip)
    before = len(judged(review).marks)
    Enrolment.objects.filter(pk=clip.enrolment_id).update(level="first_steps")
    later = judged(review_of(clip))
    wide = judge_listening(review, later.listening, Policy(tolerance_cents=60.0))
    assert (before, len(wide.marks)) == (2, 0)
    assert [policy.level for policy in judgements] == ["first_steps", "growing"]


def test_a_newer_listening_is_what_counts(clip):
    listen_again(clip, measurement((("C4", 4.0, (0.0,)),)))
    assert judged(review_of(clip)).marks == []


def test_marks_and_comments_of_one_page_do_not_reach_another(cast, clip):
    review = review_of(clip)
    comment = add_comment(review, cast.teacher, CommentText("bow", "Slower.", 4.5))
    with_comment = blocks_of(judged(review), [comment])
    without = blocks_of(judged(review), [])
    assert sum(len(block.comments) for block in with_comment) == 1
    assert sum(len(block.comments) for block in without) == 0
    assert [len(block.marks) for block in without] == [len(block.marks) for block in with_comment]
    assert Comment.objects.count() == 1


def test_words_in_the_rows_are_escaped(clip):
    run = next(block for block in blocks_of(judged(review_of(clip)), []) if block.kind == "run")
    run.name = "<b>&"
    assert html.escape("<b>&") in ledger_html.block(run)
    assert "<b>&" not in ledger_html.block(run)

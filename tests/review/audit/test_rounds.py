"""A round: what it leaves out, one answer each, taken back, left and gone on with, ended."""

from datetime import timedelta

import pytest
from django.utils import timezone

from studio.accounts import consent
from studio.clips import services as clips
from studio.review.audit import rounds
from studio.review.marks import decisions
from studio.review.marks.judging import judged
from studio.review.models import AuditMoment, AuditRound, Decision
from tests.review.audit.played import audited_clip
from tests.review.heard_clip import review_of

IN_TUNE, OUT = AuditMoment.Answer.IN_TUNE, AuditMoment.Answer.OUT


@pytest.fixture
def clip(cast):
    return audited_clip(cast.enrolment)


@pytest.fixture
def asked(cast, clip) -> AuditRound:
    return rounds.begin(cast.teacher, cast.studio)


def test_a_round_holds_marks_and_what_was_not_marked_and_none_begins_beside_it(cast, asked):
    moments = list(asked.moments.all())
    assert sorted(m.code for m in moments) == ["", "", *["interval_wide"] * 3]
    assert {m.kind for m in moments} == {"octaves"}
    assert all(m.sentence and m.deviation_cents == 35.0 for m in moments if m.was_marked)
    assert rounds.begin(cast.teacher, cast.studio) == asked
    assert rounds.begin(cast.colleague, cast.studio) is None  # all of it is asked about already


def test_marks_that_were_decided_lately_are_not_asked_about(cast, clip):
    review = review_of(clip)
    decisions.decide_all(review, judged(review), "", "kept", cast.teacher)
    assert rounds.begin(cast.teacher, cast.studio) is None
    long_ago = timezone.now() - timedelta(days=91)
    Decision.objects.update(decided_at=long_ago)
    assert rounds.begin(cast.teacher, cast.studio).moments.count() == 5


def test_other_studios_and_clips_without_a_recording_are_left_out(cast):
    audited_clip(cast.foreign_enrolment)
    gone = audited_clip(cast.enrolment)
    type(gone).objects.filter(pk=gone.pk).update(recording_gone_at=timezone.now())
    assert rounds.begin(cast.teacher, cast.studio) is None


def test_a_moment_is_answered_once_and_the_last_answer_can_be_taken_back(asked):
    first, second = rounds.to_judge(asked)[:2]
    assert rounds.answer(asked, first.pk, OUT)
    assert not rounds.answer(asked, first.pk, IN_TUNE)
    assert asked.moments.get(pk=first.pk).answer == OUT
    assert rounds.to_judge(asked)[0] == second
    assert rounds.take_back(asked) == first
    assert rounds.to_judge(asked)[0] == first
    assert rounds.take_back(asked) is None


def test_an_ended_round_keeps_what_was_judged_and_takes_no_more(asked):
    first, second = rounds.to_judge(asked)[:2]
    rounds.answer(asked, first.pk, OUT)
    assert rounds.end(asked)
    assert rounds.end(asked)
    assert list(asked.moments.all()) == [first]
    assert not rounds.answer(asked, second.pk, OUT)
    assert rounds.take_back(asked) is None


def test_a_round_without_an_answer_is_thrown_away(asked):
    assert not rounds.end(asked)
    assert not AuditRound.objects.exists()


@pytest.mark.parametrize("gone", ["consent withdrawn", "erased", "its rows deleted"])
def test_moments_leave_the_round_with_their_clip(cast, asked, clip, gone):
    other = audited_clip(cast.other_enrolment)
    span = {"start_s": 4.0, "end_s": 5.2, "kind": "octaves", "generation": 2}
    stays = asked.moments.create(clip=other, position=6, **span)
    first = rounds.to_judge(asked)[0]
    rounds.answer(asked, first.pk, OUT)
    if gone == "consent withdrawn":
        consent.withdraw(cast.enrolment, cast.guardian, consent.Purpose.RECORDINGS)
    elif gone == "erased":
        clips.erase(clip)
    else:
        clip.delete()
    assert list(rounds.to_judge(asked)) == [stays]
    assert rounds.judged_moments(asked) == []
    assert AuditMoment.objects.filter(clip=clip.pk).exists() is (gone != "its rows deleted")

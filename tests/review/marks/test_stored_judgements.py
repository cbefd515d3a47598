"""The worker that listened has judged: who opens the desk waits for no judgement."""

import pytest

from studio.review.marks import judging, stored_judgements, tolerances
from studio.review.marks.judging import judged
from studio.review.models import StoredJudgement
from tests.cast import as_person
from tests.review.heard_clip import heard_clip, listen_again, measurement, review_of


@pytest.fixture
def review(cast):
    found = review_of(heard_clip(cast.enrolment))
    forget()
    return found


def forget() -> None:
    """As in another process, which has judged nothing."""
    judging._RECENT._kept.clear()


@pytest.fixture
def times_judged(monkeypatch) -> list:
    calls: list = []

    def judge(*args, **more):
        calls.append(args)
        return real(*args, **more)

    real = judging.judge
    monkeypatch.setattr(judging, "judge", judge)
    return calls


def test_the_desk_opens_with_what_the_worker_judged(cast, review, times_judged):
    page = as_person(cast.teacher).get(f"/clips/{review.clip_id}/")
    assert "wide" in page.text
    assert times_judged == []


def test_it_says_what_judging_says(review, times_judged):
    stored = judged(review)
    StoredJudgement.objects.all().delete()
    forget()
    assert judged(review).judgement == stored.judgement
    assert len(times_judged) == 1


def test_another_tolerance_is_judged_at_once(cast, review, times_judged):
    chosen, seen = {"perfect": 50.0, "other": 50.0}, tolerances.in_force(review)
    tolerances.choose(review, chosen, seen, cast.teacher)
    review.refresh_from_db()
    forget()
    assert judged(review).marks == []
    assert len(times_judged) > 0


@pytest.mark.parametrize("what", ["tuning", "level"])
def test_other_rules_of_the_studio_are_judged_at_once(review, times_judged, what):
    place = review.clip.enrolment
    if what == "tuning":
        place.studio.tuning = "equal"
        place.studio.save()
    else:
        place.level = "advanced"
        place.save()
    judged(review_of(review.clip))
    assert len(times_judged) == 1


def test_other_judging_code_makes_a_stored_judgement_worth_nothing(
    review, times_judged, monkeypatch
):
    monkeypatch.setattr(stored_judgements, "_judging_code", lambda: "of the next version")
    judged(review)
    assert len(times_judged) == 1


def test_each_listening_has_its_own(review, times_judged):
    listen_again(review.clip, measurement(played=(("C4", 4.0, (2.0,)),)))
    forget()
    times_judged.clear()
    assert judged(review_of(review.clip)).marks == []
    assert times_judged == []
    assert StoredJudgement.objects.count() == 2

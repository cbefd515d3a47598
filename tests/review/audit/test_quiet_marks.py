"""What follows from an audit: from when on a kind is quiet, and what that changes."""

import re

import pytest

from studio.review.marks import counting, decisions
from studio.review.marks.audit_figures import Audited, Share, enough_after
from studio.review.marks.judging import judged
from studio.review.marks.precision import wilson
from tests.cast import as_person
from tests.review.audit.played import heard_now, judged_round
from tests.review.heard_clip import heard_clip, review_of


@pytest.mark.parametrize(
    ("right", "total", "quiet", "sure"),
    [
        (0, 0, False, False),  # never audited: as before
        (5, 9, False, False),  # too few
        (10, 10, False, False),  # could still show it
        (7, 10, True, False),  # not even the upper bound reaches 95 %
        (72, 72, False, False),
        (73, 73, False, True),
        (72, 73, True, False),  # enough to tell, and the lower bound is below
        (109, 110, False, True),
    ],
)
def test_a_kind_is_quiet_while_it_has_not_shown_that_it_is_right(right, total, quiet, sure):
    kind = Audited("octaves", Share(right, total), Share(0, 0))
    assert (kind.is_quiet, kind.is_sure) == (quiet, sure)


def test_how_many_it_takes_follows_from_the_interval():
    for wrong in range(4):
        n = enough_after(wrong)
        assert wilson(n - wrong, n)[0] >= 0.95 > wilson(n - 1 - wrong, n - 1)[0]


@pytest.fixture
def clip(cast):
    return heard_now(heard_clip(cast.enrolment))


@pytest.fixture
def quiet(cast, clip):
    made = judged_round(cast.enrolment, clip, right=7, wrong=3)
    counting.count_anew(cast.studio)
    return made


def test_the_desk_shows_quiet_marks_lighter_and_leaves_them_out_of_its_counts(cast, clip, quiet):
    client, said = as_person(cast.teacher), "7 of 10 of this kind were right in your audit"
    page = client.get(f"/clips/{clip.pk}/").content.decode()
    assert page.count("data-quiet") == 2
    assert page.count(said) == 4  # at each mark, and where marks are decided by kind
    assert re.search(r'id="counts">.*no marks|2 proposed quietly', page)
    review = review_of(clip)
    assert decisions.decide_all(review, judged(review), "", "kept", cast.teacher) == 0
    assert decisions.decide_all(review, judged(review), "interval_wide:P8", "kept", cast.teacher)
    kept = client.get(f"/clips/{clip.pk}/").content.decode()
    assert "1 mark" in re.search(r'id="counts">.*', kept)[0]


def test_the_waiting_list_counts_loud_marks_alone_and_asks_no_more(
    cast, clip, quiet, django_assert_num_queries, django_assert_max_num_queries
):
    client = as_person(cast.teacher)
    client.get("/waiting/")
    with django_assert_max_num_queries(18) as asked:
        assert "no marks" in client.get("/waiting/").content.decode()
    quiet.delete()
    counting.count_anew(cast.studio)
    with django_assert_num_queries(len(asked)):
        assert "2 marks" in client.get("/waiting/").content.decode()


def test_one_query_of_the_desk_tells_which_are_quiet(cast, clip, quiet, django_assert_num_queries):
    review = review_of(clip)
    assert all(mark.quiet == Share(7, 10) for mark in judged(review).marks)
    found = judged(review)
    with django_assert_num_queries(2):  # decisions, and what is quiet
        assert found.marks


def test_open_rounds_other_studios_and_earlier_engines_change_nothing(cast, clip):
    foreign = heard_now(heard_clip(cast.foreign_enrolment))
    judged_round(cast.enrolment, clip, right=2, wrong=9, finished_at=None)
    judged_round(cast.foreign_enrolment, foreign, right=2, wrong=9)
    judged_round(cast.enrolment, clip, right=2, wrong=9).moments.update(generation=0)
    assert not any(mark.quiet for mark in judged(review_of(clip)).marks)
    assert all(mark.quiet for mark in judged(review_of(foreign)).marks)

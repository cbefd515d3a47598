"""Measured precision: Wilson's interval by published values, and whose decisions count."""

import pytest

from studio.review.marks import decisions
from studio.review.marks.judging import judged
from studio.review.marks.precision import Precision, measured, wilson
from studio.review.returning import services
from tests.cast import as_person
from tests.review.heard_clip import heard_clip, listen_again, measurement, review_of

PLAYED = tuple((low, 4.0 + 6 * n, (30.0,)) for n, low in enumerate(("C4", "D4", "E4", "F4")))


@pytest.mark.parametrize(
    ("kept", "total", "low", "high"),
    [
        # R. G. Newcombe, "Two-sided confidence intervals for the single proportion", Statistics
        # in Medicine 17 (1998), 857-872, table I, method 3 (score, no correction). From memory.
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_the_range_is_wilsons(kept, total, low, high):
    assert wilson(kept, total) == pytest.approx((low, high), abs=0.00006)


@pytest.mark.parametrize(("kept", "total"), [(0, 0), (3, 2), (-1, 5)])
def test_no_share_of_nothing(kept, total):
    with pytest.raises(ValueError, match="no share"):
        wilson(kept, total)


def decided(enrolment, teacher, choice: str, dropped_one: bool = False):
    clip = heard_clip(enrolment)
    listen_again(clip, measurement(PLAYED))
    review = review_of(clip)
    if dropped_one:
        found = judged(review)
        decisions.decide(review, found.listening, found.marks[0], "dropped", teacher)
    decisions.decide_all(review, judged(review), "interval_wide:P8", choice, teacher)
    return review


def test_only_returned_clips_of_the_own_studio_count(cast):
    for n in range(3):
        review = decided(cast.enrolment, cast.teacher, "kept", dropped_one=n == 0)
        services.return_clip(review, cast.teacher, "")
    decided(cast.enrolment, cast.teacher, "dropped")  # not returned
    foreign = decided(cast.foreign_enrolment, cast.foreign_teacher, "dropped")
    services.return_clip(foreign, cast.foreign_teacher, "")
    assert measured(cast.studio) == [Precision("octaves", "1.0.0", kept=11, total=12)]
    page = as_person(cast.teacher).get("/precision/").content.decode()
    assert "11 of 12 kept: 91 %, between 64 and 99 %." in page
    theirs = as_person(cast.foreign_teacher).get("/precision/").content.decode()
    assert "0 of 4 kept. Too few to tell a share." in theirs

"""Where the pace of a piece gave way: at the desk, with its bars, and in what is returned."""

from dataclasses import replace

import pytest

from studio.drills import services as drills
from studio.notation import Request, generate
from studio.review.marks import drill_results, pace
from studio.review.marks.judging import judged
from studio.review.models import Review
from studio.review.waiting.submissions import begin_review
from tests.cast import as_person, set_for
from tests.review.heard_clip import heard_clip, listen_again, octave, stored

OCTAVES = generate(
    Request(key="C major", interval="octaves", direction="up_and_down", manner="together", start=1)
)
STEP_S = 0.8
SLOWER, STOPPED = range(4, 8), 12  # places in the page


@pytest.fixture
def piece():
    """The same octaves as a page from elsewhere, that says how long everything lasts."""
    assert len(OCTAVES.written) >= 15
    return replace(OCTAVES, timed=True)


def review_of(cast, page, held=frozenset()) -> Review:
    page = page.with_written(
        [replace(item, held=place in held) for place, item in enumerate(page.written)]
    )
    drill = drills.add_drill(
        cast.studio, cast.teacher, title="A piece", words="", score=page.to_dict()
    )
    clip, events, at = heard_clip(cast.enrolment), [], 2.0
    for place, item in enumerate(page.written):
        pace = 1.5 if place in SLOWER else 1.0 + 0.04 * (place % 3)
        length = STEP_S * pace * float(item.beats) / 2
        events.append(octave(item.midi[0], at, length - 0.05))
        at += length + (2.0 if place == STOPPED - 1 else 0.0)
    listen_again(clip, stored(events))
    begin_review(clip, set_for(cast.enrolment, drill))
    return Review.objects.get(clip=clip)


def test_a_slower_stretch_and_a_stop_are_said_with_their_bars(cast, piece):
    review = review_of(cast, piece)
    found = pace.places(judged(review), piece)
    bars = [item.bar for item in piece.written]
    assert [(one.kind, one.bar, one.last_bar) for one in found] == [
        ("slower", bars[SLOWER[0]], bars[SLOWER[-1]]),
        ("stopped", bars[STOPPED], bars[STOPPED]),
    ]
    assert "± " in found[0].in_words
    assert found[1].in_words == "held up for about 2 s"
    page = as_person(cast.teacher).get(f"/clips/{review.clip_id}/").content.decode()
    for one in found:
        assert f"<b>{one.where}</b>: {one.in_words}" in page
    frozen = drill_results.Shown.from_dict(drill_results.of(judged(review)))
    assert frozen.pace == found


def test_a_fermata_is_no_stop(cast, piece):
    review = review_of(cast, piece, held={STOPPED - 1})
    kinds = [one.kind for one in pace.places(judged(review), review.answers.version.page)]
    assert kinds == ["slower"]


def test_of_a_drill_that_is_practised_nothing_is_said(cast):
    review = review_of(cast, OCTAVES)
    assert pace.places(judged(review), OCTAVES) == ()
    assert "pace" not in drill_results.of(judged(review))

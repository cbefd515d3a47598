"""A teacher says which bar a place is: the clip is judged anew at once, and so it is returned."""

import re

import pytest

from studio.drills import services as drills
from studio.notation import Request, generate
from studio.review.changes import AlreadyReturned
from studio.review.marks import bar_pins, drill_results
from studio.review.marks.judging import judged
from studio.review.models import BarPin, Review
from studio.review.returning.services import return_clip
from studio.review.waiting.submissions import begin_review
from tests.cast import as_person, set_for
from tests.review.heard_clip import heard_clip, listen_again, measurement

UP_AND_DOWN = generate(
    Request(key="C major", interval="octaves", direction="up_and_down", manner="together", start=1)
)
UP = 1  # the bar of C4 and C5 at the beginning, to which nothing but a pin prefers the last one
PLAYED = (("C4", 4.0, (40.0, 30.0)),)


@pytest.fixture
def clip(cast):
    """One double stop, C4 and C5, for a page that begins and ends with it."""
    score = UP_AND_DOWN.to_dict()
    drill = drills.add_drill(cast.studio, cast.teacher, title="C major", words="Slow", score=score)
    clip = heard_clip(cast.enrolment)
    listen_again(clip, measurement(PLAYED))
    begin_review(clip, set_for(cast.enrolment, drill))
    return clip


@pytest.fixture
def review(clip) -> Review:
    return Review.objects.get(clip=clip)


@pytest.fixture
def teacher(cast):
    return as_person(cast.teacher)


LAST = UP_AND_DOWN.written[-1]


def played(review) -> list[str]:
    """What of the page was played, by its ids."""
    notes = judged(review).judgement["following"]["notes"]
    return [note["ref"] for note in notes if note["state"] == "played"]


def press(client, clip, bar: int = LAST.bar, start="0:04.0", end="0:05.2", **headers):
    data = {"start_s": start, "end_s": end, "bar": str(bar)}
    return client.post(f"/clips/{clip.pk}/bars/", data, headers=headers)


def test_a_pinned_place_is_judged_at_once_as_that_bar(cast, review):
    assert played(review) == [UP_AND_DOWN.written[0].id]
    bar_pins.place(review, (4.0, 5.2), LAST.bar, cast.teacher)
    assert played(review) == [LAST.id]
    review.refresh_from_db()
    assert review.marks_found == len(judged(review).judgement["marks"])


def test_taken_away_it_is_followed_as_before(cast, review):
    pin = bar_pins.place(review, (4.0, 5.2), LAST.bar, cast.teacher)
    bar_pins.take_away(review, pin.pk)
    bar_pins.take_away(review, pin.pk)
    assert played(review) == [UP_AND_DOWN.written[0].id]


def test_the_desk_shows_it_and_the_page_under_the_new_bar(teacher, clip, review):
    html = press(teacher, clip, **{"X-Desk": "parts"}).content.decode()
    assert f"Followed anew: this is bar {LAST.bar}." in html
    assert f"0:04.0 is bar {LAST.bar}" in html
    names = re.findall(r'aria-label="(Bar [^"]*)"', html)
    assert [name for name in names if "30 ± 1 cents wide" in name] == [names[-1]]
    assert names[-1].startswith(f"Bar {LAST.bar}: ")
    pin = BarPin.objects.get(review=review)
    answer = teacher.post(f"/clips/{clip.pk}/bars/{pin.pk}/take-away/")
    assert answer["Location"].endswith("#pins")
    assert not BarPin.objects.exists()


def test_without_a_script_a_row_fills_the_form_in(teacher, clip):
    html = teacher.get(f"/clips/{clip.pk}/?at=4.000").content.decode()
    assert 'value="0:04.00"' in html
    assert 'value="0:05.20"' in html
    assert press(teacher, clip)["Location"] == f"/clips/{clip.pk}/#pins"
    assert f"0:04.0 is bar {LAST.bar}" in teacher.get(f"/clips/{clip.pk}/").content.decode()


def test_a_press_sent_twice_is_one(teacher, clip, review):
    for key in ("one", "one", "two"):
        assert press(teacher, clip, **{"X-Desk": "parts", "X-Act": key}).status_code == 200
    assert BarPin.objects.filter(review=review).count() == 1


@pytest.mark.parametrize(
    ("pressed", "why"),
    [
        ({"bar": UP}, f"What sounds at 0:04.0 is said to be bar {LAST.bar} already."),
        ({"start": "0:20", "end": "0:21"}, "Nothing is heard from 0:20.0 to 0:21.0."),
        ({"bar": 99}, "The page has no such bar."),
        ({"start": ""}, "Say from where on."),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(teacher, clip, review, pressed, why):
    press(teacher, clip)
    for headers in ({}, {"X-Desk": "parts"}):
        answer = press(teacher, clip, **pressed, **headers)
        assert answer.status_code == 422
        assert why in answer.content.decode()
    assert BarPin.objects.filter(review=review).count() == 1


def test_a_clip_heard_anew_keeps_its_pins_by_their_time(cast, clip, review, teacher):
    bar_pins.place(review, (4.0, 5.2), LAST.bar, cast.teacher)
    listen_again(clip, measurement((("C4", 4.3, (25.0, 20.0)),)))
    assert played(review) == [LAST.id]
    listen_again(clip, measurement((("C4", 24.0, (25.0,)),)))  # nothing is heard there any more
    assert played(review) == [UP_AND_DOWN.written[0].id]
    html = teacher.get(f"/clips/{clip.pk}/").content.decode()
    assert "Not used: what is heard there now does not allow it." in html


def test_what_is_returned_shows_the_pinned_bar_for_good(cast, review):
    pin = bar_pins.place(review, (4.0, 5.2), LAST.bar, cast.teacher)
    return_clip(review, cast.teacher, "Well done.")
    notes = review.returned.snapshot["shown"]["notes"]
    assert [note["ref"] for note in notes if note["playings"]] == [LAST.id]
    assert notes == drill_results.of(judged(review))["notes"]
    for late in (
        lambda: bar_pins.take_away(review, pin.pk),
        lambda: bar_pins.place(review, (4.0, 5.2), UP, cast.teacher),
    ):
        with pytest.raises(AlreadyReturned):
            late()


def test_a_clip_without_a_page_has_no_bars(cast, teacher):
    other = heard_clip(cast.enrolment, "No drill")
    assert 'id="pins"' not in teacher.get(f"/clips/{other.pk}/").content.decode()
    assert press(teacher, other).status_code == 422

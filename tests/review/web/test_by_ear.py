"""A moment of a returned clip by ear: what its page gives to be heard, and of which clips."""

import json
import re
from html import unescape

import pytest
from django.utils import timezone

from studio.review.marks.decisions import decide_all
from studio.review.marks.judging import judged
from studio.review.returning.services import return_clip
from studio.review.waiting.submissions import begin_review
from studio.theory import in_cents
from tests.cast import as_person, make_clip, make_drill, set_for
from tests.review.heard_clip import heard_clip, listen_again, review_of

pytestmark = pytest.mark.django_db
SOUNDS = re.compile(r'data-by-ear="([^"]*)"')


def sounds_of(clip, person) -> list[dict]:
    page = as_person(person).get(f"/clips/{clip.pk}/").content.decode()
    return [json.loads(unescape(found)) for found in SOUNDS.findall(page)]


def returned(clip, teacher):
    review = review_of(clip)
    decide_all(review, judged(review), "", "kept", teacher)
    return_clip(review, teacher, "")
    return clip


def answering(cast, assignment, days_ago: int):
    clip = make_clip(cast.enrolment, "Octaves", has_audio=True)
    listen_again(clip)
    clip.created_at = timezone.now() - timezone.timedelta(days=days_ago)
    clip.save()
    begin_review(clip, assignment)
    return clip


@pytest.mark.parametrize("reader", ["pupil", "guardian"])
def test_a_mark_is_heard_in_tune_at_the_pitch_that_was_played(cast, reader):
    clip = returned(heard_clip(cast.enrolment), cast.teacher)
    first, second = sounds_of(clip, cast.people()[reader])
    assert (first["name"], first["start"], first["end"]) == ("octave C4–C5", 5.5, 6.7)
    assert second["name"] == "octave E4–E5"
    for sound, low_hz in ((first, 261.626), (second, 329.628)):
        low, high = sound["hz"]
        assert low == low_hz, "it stays where it was played"
        assert in_cents(high / low) == pytest.approx(1200.0, abs=0.01)
        assert "then" not in sound


def test_what_was_returned_before_sounds_were_kept_offers_none(cast):
    clip = returned(heard_clip(cast.enrolment), cast.teacher)
    done = review_of(clip).returned
    for moment in done.snapshot["moments"]:
        del moment["heard"]
    del done.snapshot["stops"]
    done.save()
    assert sounds_of(clip, cast.pupil) == []


def test_the_same_double_stop_is_heard_in_the_newest_earlier_clip_of_the_drill(cast):
    drill = make_drill(cast.teacher, cast.studio)
    assignment = set_for(cast.enrolment, drill)
    oldest, older = (answering(cast, assignment, days) for days in (9, 5))
    other = answering(cast, set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "X")), 3)
    answering(cast, assignment, 2)
    newest = answering(cast, assignment, 0)
    for clip in (oldest, older, other, newest):
        returned(clip, cast.teacher)
    [then, _] = [sound["then"] for sound in sounds_of(newest, cast.pupil)]
    assert str(older.pk) in then["src"], "not the newest one, which is not returned"
    assert (then["start"], then["end"], then["now"]) == (5.5, 6.7, [5.5, 6.7])
    assert all("then" not in sound for sound in sounds_of(oldest, cast.pupil))
    assert all("then" not in sound for sound in sounds_of(other, cast.pupil))

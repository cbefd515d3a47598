"""A clip's page for its pupil and guardian: where it is, then what came back, and no more."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from studio.clips.models import Stage
from studio.drills import services as drills
from studio.drills.services import edit_drill
from studio.notation import Request, generate
from studio.review.comments import CommentText, add_comment
from studio.review.marks.decisions import decide
from studio.review.marks.judging import judged
from studio.review.models import Comment, Review
from studio.review.returning.services import return_clip, set_drill_with_clip
from studio.review.waiting.submissions import begin_review
from tests.cast import as_person, make_clip, make_drill, make_return, set_for
from tests.review.heard_clip import listen_again, measurement

HOME = ["pupil", "guardian"]


def page_of(clip, person) -> str:
    return as_person(person).get(f"/clips/{clip.pk}/").content.decode()


@pytest.fixture
def reviewed(cast):
    """A clip with a comment, a summary and a drill, not returned yet."""
    clip = make_clip(cast.enrolment, "Octaves", note="Is the E flat better?")
    review = Review.objects.get(clip=clip)
    add_comment(review, cast.teacher, CommentText("bow", "More weight here", 12.0, 14.5))
    add_comment(review, cast.teacher, CommentText("well_done", "You waited for it", 1.5))
    drill = make_drill(cast.teacher, cast.studio, "Thirds to follow")
    set_drill_with_clip(review, drill.newest(), cast.teacher, None, "Slowly")
    return review


@pytest.mark.parametrize("part", HOME)
def test_nothing_of_a_review_is_seen_before_the_return(cast, reviewed, part):
    person = cast.people()[part]
    page = page_of(reviewed.clip, person)
    home = "/queue/" if part == "pupil" else f"/children/{cast.enrolment.pk}/"
    page += as_person(person).get(home).content.decode()
    for hidden in ("More weight here", "You waited for it", "Thirds to follow", "Slowly"):
        assert hidden not in page
    assert "Is the E flat better?" in page
    assert f"{'Your' if part == 'pupil' else 'The'} teacher has it." in page


def test_a_kept_mark_says_whether_it_is_about_the_pitch_or_the_bow(cast):
    score = generate(
        Request(key="C major", interval="octaves", direction="up", manner="together", start=1)
    )
    drill = drills.add_drill(
        cast.studio, cast.teacher, title="C major", words="Slowly", score=score.to_dict()
    )
    clip = make_clip(cast.enrolment, has_audio=True)
    review = begin_review(clip, set_for(cast.enrolment, drill))
    stored = measurement()
    at_s = stored["events"][6]["start_s"] + 0.4
    stored["events"][6]["voices"][1]["dropouts"] = [[at_s, at_s + 0.4]]
    listening = listen_again(clip, stored)
    for mark in judged(review).marks:
        decide(review, listening, mark, "kept", cast.teacher)
    return_clip(review, cast.teacher, "")
    kinds = re.findall(r'<p class="kind">(\w+)', page_of(clip, cast.pupil))
    assert kinds == ["intonation", "bow", "intonation"]


@pytest.mark.parametrize("part", HOME)
def test_after_the_return_all_of_it_is_seen_in_time_order(cast, reviewed, part):
    return_clip(reviewed, cast.teacher, "Much steadier.")
    page = page_of(reviewed.clip, cast.people()[part])
    assert page.index("Much steadier.") < page.index("You waited for it")
    assert page.index("You waited for it") < page.index("More weight here")
    assert "Thirds to follow" in page
    assert "2 moments" in page


def test_a_press_plays_from_two_seconds_before_but_never_before_the_beginning(cast, reviewed):
    return_clip(reviewed, cast.teacher, "")
    page = page_of(reviewed.clip, cast.pupil)
    assert re.findall(r'data-play-from="([\d.]+)"', page) == ["0.000", "10.000"]
    assert re.findall(r'data-start="([\d.]+)"\s+data-until="([\d.]+)"', page) == [
        ("1.500", "1.500"),
        ("12.000", "14.500"),
    ]


def test_what_was_returned_stays_as_it_was(cast, reviewed):
    return_clip(reviewed, cast.teacher, "Much steadier.")
    Comment.objects.update(text="Changed later")
    edit_drill(
        reviewed.drills_set.get().version.drill, title="Other", words="x", interval="", key=""
    )
    page = page_of(reviewed.clip, cast.pupil)
    assert "More weight here" in page
    assert "Changed later" not in page
    assert "Thirds to follow" in page


def test_a_clip_that_cannot_be_played_is_answered_all_the_same(cast):
    clip = make_clip(cast.enrolment)
    make_return(clip, "Read me")
    Stage.objects.filter(clip=clip, kind="playback").update(
        state="failed", failure_code="picture_too_slow"
    )
    page = page_of(clip, cast.pupil)
    assert "<video" not in page
    assert "Could not be prepared for playing" in page
    assert "Read me" in page
    assert "data-play-from" not in page


def test_a_clip_without_a_picture_has_a_sound_player(cast):
    clip = make_clip(cast.enrolment, has_video=False)
    make_return(clip)
    page = page_of(clip, cast.pupil)
    assert "<audio" in page
    assert "<video" not in page


def test_a_teachers_words_are_text_and_never_markup(cast):
    clip = make_clip(cast.enrolment, "<i>title</i>")
    make_return(clip, "<script>alert(1)</script>")
    page = page_of(clip, cast.pupil)
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page
    assert "<i>title" not in page


@pytest.mark.parametrize(
    "part", ["other_pupil", "unlinked_guardian", "former_pupil", "foreign_teacher", "foreign_pupil"]
)
def test_a_foreign_clip_and_a_missing_one_are_the_same_404(cast, part):
    clip = make_clip(cast.enrolment)
    make_return(clip)
    client = as_person(cast.people()[part])
    foreign, missing = client.get(f"/clips/{clip.pk}/"), client.get(f"/clips/{uuid4()}/")
    assert (foreign.status_code, missing.status_code) == (404, 404)
    assert without_token(foreign) == without_token(missing)
    assert "Nothing here" in foreign.content.decode()


def test_the_poll_of_an_unreturned_clip_brings_the_part_alone(cast):
    clip = make_clip(cast.enrolment)
    Stage.objects.filter(clip=clip, kind="listening").update(state="working")
    whole = page_of(clip, cast.pupil)
    assert 'hx-trigger="every 3s"' in whole
    part = as_person(cast.pupil).get(f"/clips/{clip.pk}/", headers={"hx-request": "true"})
    assert "<html" not in part.content.decode()


def without_token(response) -> str:
    return re.sub(r'(X-CSRFToken": "|csrfmiddlewaretoken" value=")\w+', r"\1", response.text)


def test_the_pupils_own_note_stays_when_the_clip_comes_back(cast):
    clip = make_clip(cast.enrolment, "Octaves", note="Is the fourth finger still too high?")
    make_return(clip)
    pages = {"pupil": "What you wrote", "guardian": "What Mira wrote"}
    for part, heading in pages.items():
        page = as_person(cast.people()[part]).get(f"/clips/{clip.pk}/").text
        assert heading in page
        assert "Is the fourth finger still too high?" in page


def test_a_drill_that_came_with_the_answer_says_what_became_of_it(cast):
    review = Review.objects.get(clip=make_clip(cast.enrolment))
    late = timezone.localdate() - timedelta(days=2)
    drill = make_drill(cast.teacher, cast.studio, "Sixths")
    assignment = set_drill_with_clip(review, drill.newest(), cast.teacher, late, "")
    make_return(review.clip)
    address = f"/clips/{review.clip_id}/"
    assert "Was due on" in as_person(cast.pupil).get(address).text
    answer = make_clip(cast.enrolment, "The answer")
    Review.objects.filter(clip=answer).update(answers=assignment)
    page = as_person(cast.pupil).get(address).text
    assert "Sent today" in page
    assert "Was due on" not in page
    assignment.done_at = timezone.now()
    assignment.save()
    assert "Ticked off today" in as_person(cast.pupil).get(address).text

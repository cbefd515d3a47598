"""What a teacher does at the desk: decisions, comments, drills, the return; twice and at once."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from studio.drills.models import Drill
from studio.review.comments import CommentText, add_comment, edit_comment
from studio.review.models import Comment, Decision, Return, Review
from tests.cast import as_person, make_clip, make_drill
from tests.review.heard_clip import heard_clip, listen_again, measurement, review_of


@pytest.fixture
def clip(cast):
    return heard_clip(cast.enrolment)


@pytest.fixture
def teacher(cast):
    return as_person(cast.teacher)


ONLY_THE_LAST = measurement() | {"events": measurement()["events"][4:]}


def post(client, clip, path: str, data: dict, *, script: bool = True, **more: str):
    headers = {"X-Desk": "parts", **more} if script else {}
    return client.post(f"/clips/{clip.pk}/{path}", data, headers=headers)


def decide(client, clip, choice: str, mark: int = 0, *, script: bool = True, words: str = ""):
    listening = clip.listenings.order_by("-pk").first()
    data = {"choice": choice, "words": words, "listening": listening.pk}
    return post(client, clip, f"marks/{mark}/", data, script=script)


def said(text: str = "Listen to the upper note.", **more) -> dict:
    return {"kind": "intonation", "text": text, "start_s": "0:04.2", "form_key": "one"} | more


def decisions(clip) -> list:
    return list(Decision.objects.filter(review__clip=clip).values_list("choice", "words"))


# -- marks ---------------------------------------------------------------------------------------


def test_a_mark_is_kept_dropped_and_taken_back(teacher, clip):
    assert "Kept." in decide(teacher, clip, "kept").content.decode()
    assert decisions(clip) == [("kept", "")]
    decide(teacher, clip, "dropped")
    assert decisions(clip) == [("dropped", "")]
    decide(teacher, clip, "")
    assert decisions(clip) == []


def test_a_decision_pressed_twice_is_one(teacher, clip):
    for _ in range(2):
        decide(teacher, clip, "kept")
    assert decisions(clip) == [("kept", "")]


def test_the_teachers_own_words_keep_the_mark_and_stand_in_its_place(teacher, clip):
    html = decide(teacher, clip, "kept", words="Lean the fourth finger back.").content.decode()
    assert decisions(clip) == [("kept", "Lean the fourth finger back.")]
    assert '<div class="sentence prose">Lean the fourth finger back.</div>' in html


def test_the_answer_to_a_script_is_the_run_that_changed(teacher, clip):
    html = decide(teacher, clip, "kept").content.decode()
    assert 'id="counts"' in html
    assert 'id="said"' in html
    assert html.count('<li class="block') == 1
    assert "<html" not in html


def test_a_plain_browser_is_led_back_to_the_page(teacher, clip):
    answer = decide(teacher, clip, "kept", script=False)
    assert answer.status_code == 302
    assert answer.url.startswith(f"/clips/{clip.pk}/#b")


def test_a_press_on_a_page_from_before_keeps_what_was_seen_there(teacher, clip):
    """The clip was heard anew meanwhile: it is about the mark that the page showed."""
    before = clip.listenings.get().pk
    listen_again(clip, ONLY_THE_LAST)
    page = {"X-Listening": str(before)}
    data = {"choice": "kept", "listening": before}
    html = post(teacher, clip, "marks/0/", data, **page).content.decode()
    assert html.count('<li class="block') == 1, "the page goes on with what it was made from"
    assert Decision.objects.get().listening_id == before
    comment = post(teacher, clip, "comments/", said(), **page).content.decode()
    assert 'data-choice="kept"' in comment, "its block still has the mark"
    loaded = teacher.get(f"/clips/{clip.pk}/").content.decode()
    assert "as it is heard and judged now, this moment is not marked" in loaded


def test_a_press_that_outlived_its_page_is_still_about_what_that_showed(teacher, clip):
    """It was kept in the browser, and the page that sends it was loaded since."""
    before, now = clip.listenings.get().pk, listen_again(clip, ONLY_THE_LAST).pk
    data = {"choice": "kept", "words": "Higher.", "listening": before}
    answer = post(teacher, clip, "marks/0/", data, **{"X-Listening": str(now)})
    assert answer.status_code == 200
    assert "this moment is not marked" in answer.content.decode(), "all that stands, as shown now"
    assert decisions(clip) == [("kept", "Higher.")]
    kind = {"kind": "", "choice": "dropped", "listening": before}
    post(teacher, clip, "marks/kind/", kind, **{"X-Listening": str(now)})
    assert sorted(decisions(clip)) == [("dropped", ""), ("kept", "Higher.")]


def test_a_decision_about_another_clips_listening_is_not_taken(teacher, cast, clip):
    other = heard_clip(cast.enrolment).listenings.get().pk
    data = {"choice": "kept", "listening": other}
    assert post(teacher, clip, "marks/0/", data).status_code == 409
    assert decisions(clip) == []


def test_a_decision_stays_with_its_moment_in_a_newer_listening(teacher, clip):
    decide(teacher, clip, "dropped")
    listen_again(clip)
    html = teacher.get(f"/clips/{clip.pk}/").content.decode()
    assert html.count('data-choice="dropped"') == 1
    assert "1 to decide" in html


def test_a_decision_without_a_mark_is_shown_and_can_be_taken_back(teacher, clip):
    decide(teacher, clip, "kept")
    stored = measurement()
    listen_again(clip, stored | {"events": stored["events"][4:]})
    html = teacher.get(f"/clips/{clip.pk}/").content.decode()
    assert "as it is heard and judged now, this moment is not marked" in html
    pk = Decision.objects.get().pk
    assert post(teacher, clip, f"decisions/{pk}/take-back/", {}).status_code == 200
    assert decisions(clip) == []


# -- comments ------------------------------------------------------------------------------------


def test_a_comment_is_added_at_a_moment_or_over_a_span(teacher, clip):
    post(teacher, clip, "comments/", said())
    post(teacher, clip, "comments/", said(start_s="1:02.5", end_s="58", form_key="two"))
    spans = list(Comment.objects.values_list("start_s", "end_s"))
    assert spans == [(4.2, None), (58.0, 62.5)]


def test_one_press_makes_one_comment_however_often_it_arrives(teacher, clip):
    for _ in range(3):
        assert post(teacher, clip, "comments/", said()).status_code == 200
    assert Comment.objects.count() == 1


def test_words_changed_after_a_lost_answer_are_the_ones_that_stand(teacher, clip):
    post(teacher, clip, "comments/", said("First words"))
    post(teacher, clip, "comments/", said("Better words"))
    assert list(Comment.objects.values_list("text", "version")) == [("Better words", 2)]


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"text": "  "}, "Write what you want to say."),
        ({"start_s": "later"}, "write it like 1:02.4"),
        ({"start_s": "9:00"}, "is after the end; the clip lasts 1:04.0"),
    ],
)
@pytest.mark.parametrize("script", [True, False])
def test_a_refused_comment_says_why_and_keeps_the_words(teacher, clip, wrong, sentence, script):
    answer = post(teacher, clip, "comments/", said(**wrong), script=script)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in html
    assert wrong.get("text", "Listen to the upper note.").strip() in html
    assert not Comment.objects.exists()


def test_a_comment_is_edited_and_deleted(cast, teacher, clip):
    comment = add_comment(review_of(clip), cast.teacher, CommentText("bow", "More bow", 4.5))
    changed = said("Less bow", kind="bow", version="1", start_s="20.5")
    html = post(teacher, clip, f"comments/{comment.pk}/", changed).content.decode()
    comment.refresh_from_db()
    assert (comment.text, comment.start_s, comment.version) == ("Less bow", 20.5, 2)
    assert html.count('<li class="block') == 2, "the run it left and the run it came to"
    assert post(teacher, clip, f"comments/{comment.pk}/delete/", {}).status_code == 200
    assert not Comment.objects.exists()


@pytest.mark.parametrize("script", [True, False])
def test_two_who_edit_at_once_lose_nothing(cast, teacher, clip, script):
    comment = add_comment(review_of(clip), cast.teacher, CommentText("bow", "At first", 4.5))
    edit_comment(comment, CommentText("bow", "The colleague's text", 4.5), version=1)
    mine = said("My own text", version="1")
    answer = post(teacher, clip, f"comments/{comment.pk}/", mine, script=script)
    html = answer.content.decode()
    assert answer.status_code == 409
    assert "The colleague&#x27;s text" in html
    assert "My own text" in html
    comment.refresh_from_db()
    assert comment.text == "The colleague's text"
    again = said("My own text", version="2")
    assert post(teacher, clip, f"comments/{comment.pk}/", again).status_code == 200


# -- drills --------------------------------------------------------------------------------------


def test_a_drill_of_the_shelf_is_set_once_and_taken_back(cast, teacher, clip):
    drill = make_drill(cast.teacher, cast.studio)
    due = timezone.localdate() + timedelta(days=7)
    for goal in ("two bows", "three bows"):
        figures = {"share_percent": "80", "tolerance_cents": "10", "playings": ""}
        said = {"drill": drill.pk, "due_on": due, "goal": goal, **figures}
        post(teacher, clip, "drills/", said)
    assignment = review_of(clip).drills_set.get()
    assert (assignment.goal, assignment.due_on) == ("three bows", due)
    assert assignment.goal_in_figures == "80 % of the notes within 10 cents"
    assert assignment.published_at is None, "hidden until the clip is returned"
    post(teacher, clip, f"drills/{assignment.pk}/take-back/", {})
    assert not review_of(clip).drills_set.exists()


def test_the_due_date_on_offer_is_a_week_from_now(cast, teacher, clip):
    make_drill(cast.teacher, cast.studio)
    week = timezone.localdate() + timedelta(days=7)
    assert f'value="{week:%Y-%m-%d}"' in teacher.get(f"/clips/{clip.pk}/").content.decode()


def test_a_drill_written_here_goes_on_the_shelf_and_is_set_once(teacher, clip):
    new = {"title": "Sixths", "words": "Slowly.", "interval": "6", "key": "", "goal": ""}
    for _ in range(2):
        assert post(teacher, clip, "drills/new/", new).status_code == 200
    assert Drill.objects.get().newest().title == "Sixths"
    assert review_of(clip).drills_set.get().version.words == "Slowly."


def test_a_drill_of_another_studio_cannot_be_set(cast, teacher, clip):
    foreign = make_drill(cast.foreign_teacher, cast.other_studio)
    assert post(teacher, clip, "drills/", {"drill": foreign.pk}).status_code == 422
    assert not review_of(clip).drills_set.exists()


def test_a_due_date_that_is_past_is_refused(cast, teacher, clip):
    drill = make_drill(cast.teacher, cast.studio)
    answer = post(teacher, clip, "drills/", {"drill": drill.pk, "due_on": "2020-01-31"})
    assert answer.status_code == 422
    assert "is past" in answer.content.decode()


# -- the return ----------------------------------------------------------------------------------


def seen(client, clip) -> str:
    return client.get(f"/clips/{clip.pk}/preview/").context["seen"]


def test_the_preview_is_what_the_pupil_gets(cast, teacher, clip):
    decide(teacher, clip, "kept", words="Lean back.")
    decide(teacher, clip, "dropped", mark=1)
    post(teacher, clip, "comments/", said())
    post(teacher, clip, "summary/", {"summary": "Much steadier."})
    page = teacher.get(f"/clips/{clip.pk}/preview/")
    post(teacher, clip, "return/", {"seen": page.context["seen"]})
    frozen = Return.objects.get(review__clip=clip).snapshot
    assert frozen == page.context["snapshot"]
    assert frozen["summary"] == "Much steadier."
    assert [moment["text"] for moment in frozen["moments"]] == [
        "Listen to the upper note.",
        "Lean back.",
    ]


def test_the_preview_names_marks_that_are_not_decided(teacher, clip):
    html = teacher.get(f"/clips/{clip.pk}/preview/").content.decode()
    assert "2 marks are neither kept nor dropped" in html


def test_returning_leads_to_the_clip_that_has_waited_longest(cast, teacher, clip):
    hours = timezone.now() - timedelta(hours=5)
    following = make_clip(cast.other_enrolment, created_at=hours)
    answer = teacher.post(f"/clips/{clip.pk}/return/", {"seen": seen(teacher, clip)}, follow=True)
    assert answer.request["PATH_INFO"] == f"/clips/{following.pk}/"
    assert "Returned to Mira Sandholm." in answer.content.decode(), "it is seen at once here"


def test_the_last_clip_leads_back_to_the_list(teacher, clip):
    answer = post(teacher, clip, "return/", {"seen": seen(teacher, clip)}, script=False)
    assert answer.url == "/waiting/"


def test_nothing_is_returned_that_was_not_previewed(cast, teacher, clip):
    old = seen(teacher, clip)
    add_comment(review_of(clip), cast.colleague, CommentText("bow", "Written meanwhile", 4.0))
    answer = post(teacher, clip, "return/", {"seen": old}, script=False)
    assert answer.status_code == 409
    assert "Something changed since you looked" in answer.content.decode()
    assert "Written meanwhile" in answer.content.decode()
    assert not Return.objects.exists()


def test_what_was_returned_stays_as_it_is(cast, teacher, clip):
    comment = add_comment(review_of(clip), cast.teacher, CommentText("bow", "As it was", 4.0))
    drill = make_drill(cast.teacher, cast.studio)
    key = {"seen": seen(teacher, clip)}
    assert post(teacher, clip, "return/", key).status_code == 302
    frozen = Return.objects.get().snapshot
    attempts = {
        f"comments/{comment.pk}/": said("Changed", version="1"),
        f"comments/{comment.pk}/delete/": {},
        "comments/": said("Another"),
        "drills/": {"drill": drill.pk},
        "summary/": {"summary": "Changed"},
        "return/": key,
    }
    for path, data in attempts.items():
        answer = post(teacher, clip, path, data)
        assert answer.status_code == 409, path
        assert "This clip was returned" in answer.content.decode(), path
    assert decide(teacher, clip, "kept").status_code == 409
    assert Return.objects.get().snapshot == frozen
    assert review_of(clip).state == Review.State.RETURNED


def test_a_returned_clip_is_shown_without_anything_to_press(teacher, clip):
    post(teacher, clip, "return/", {"seen": seen(teacher, clip)})
    html = teacher.get(f"/clips/{clip.pk}/").content.decode()
    assert "This clip was returned." in html
    for gone in ("Add comment", "data-decide", "Set this drill", "Preview and return"):
        assert gone not in html


# -- who -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("who", ["pupil", "guardian", "other_pupil", "foreign_teacher"])
def test_nobody_but_a_teacher_of_the_studio_changes_a_review(cast, clip, who):
    client = as_person(getattr(cast, who))
    comment = add_comment(review_of(clip), cast.teacher, CommentText("bow", "As it was", 4.0))
    for path in (
        "marks/0/",
        "comments/",
        f"comments/{comment.pk}/",
        f"comments/{comment.pk}/delete/",
        "drills/",
        "drills/new/",
        "summary/",
        "return/",
    ):
        assert post(client, clip, path, said() | {"listening": "1"}).status_code == 404, path


def test_a_colleague_of_the_studio_may_review_too(cast, clip):
    assert decide(as_person(cast.colleague), clip, "kept").status_code == 200
    assert Decision.objects.get().decided_by == cast.colleague


def test_a_refused_form_of_a_fold_comes_back_unfolded(cast, teacher, clip):
    comment = add_comment(review_of(clip), cast.teacher, CommentText("bow", "At first", 4.5))
    answer = post(teacher, clip, f"comments/{comment.pk}/", said(" ", version="1"))
    assert re.search(
        rf'<details open\s+class="edit"\s+id="edit-comment-{comment.pk}"', html_of(answer)
    )
    answer = post(teacher, clip, "drills/new/", {"title": "Sixths"})
    assert answer.status_code == 422
    assert re.search(r'<details open\s+class="write"', html_of(answer))


def html_of(answer) -> str:
    return answer.content.decode()

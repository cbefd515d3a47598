"""Questions from home: who reads them, what waits, each press once, gone with the clip."""

import pytest
from django.urls import reverse
from django.utils import timezone

from studio.accounts.models import Enrolment, GuardianLink
from studio.review import access, questions
from studio.review.models import Question, QuestionEntry
from studio.review.questions import About
from tests.cast import as_person, make_clip, make_drill, make_return, set_for


@pytest.fixture
def returned(cast):
    clip = make_clip(cast.enrolment, "Thirds in G")
    make_return(clip, "Roll the finger back a little.")
    return clip


def asked(cast, words: str = "Which finger rolls?", about: About | None = None) -> Question:
    return questions.ask(cast.enrolment, cast.pupil, words, about or About(), "")


def test_a_pupil_asks_at_a_moment_and_the_teacher_answers_from_the_waiting_list(cast, returned):
    pupil, teacher = as_person(cast.pupil), as_person(cast.teacher)
    page = pupil.get(reverse("clip_page", args=[returned.pk])).content.decode()
    way = reverse("ask", args=[cast.enrolment.pk]) + f"?clip={returned.pk}&moment=0"
    assert way.replace("&", "&amp;") in page
    form = pupil.get(way)
    assert "Roll the finger back a little." in form.content.decode()
    posted = {"text": "Back means to the nut?", "form_key": "k1"}
    answer = pupil.post(way, posted, follow=True)
    assert "Back means to the nut?" in answer.content.decode()
    question = Question.objects.get()
    assert (question.clip, question.quoted) == (returned, "Roll the finger back a little.")

    waiting = teacher.get(reverse("waiting_list")).content.decode()
    assert "1 question without an answer" in waiting
    assert "Back means to the nut?" in waiting
    at = reverse("question", args=[question.pk])
    teacher.post(at, {"text": "Yes, towards the scroll.", "form_key": "k2"})
    assert "without an answer" not in teacher.get(reverse("waiting_list")).content.decode()

    home = pupil.get(reverse("queue")).content.decode()
    assert "<b>answered</b>" in home
    assert "Yes, towards the scroll." in pupil.get(at).content.decode()
    assert "<b>answered</b>" not in pupil.get(reverse("queue")).content.decode()


def test_there_is_no_question_that_a_guardian_cannot_read(cast, returned):
    drill = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    abouts = (About(), About(clip=returned, at_s=1.0), About(assignment=drill))
    everything = [asked(cast, f"Question {n}", about) for n, about in enumerate(abouts)]
    guardian = as_person(cast.guardian)
    for question in everything:
        questions.say(question, cast.teacher, "Like this.", "", by_teacher=True)
        page = guardian.get(reverse("question", args=[question.pk]))
        assert page.status_code == 200
        assert "Like this." in page.content.decode()
    found = guardian.get(reverse("child", args=[cast.enrolment.pk])).content.decode()
    assert all(f"Question {n}" in found for n in range(3))


def test_a_guardian_who_is_no_longer_one_reads_nothing(cast):
    question = asked(cast)
    at = reverse("question", args=[question.pk])
    assert as_person(cast.guardian).get(at).status_code == 200
    GuardianLink.objects.filter(guardian=cast.guardian).update(ended_on=timezone.localdate())
    assert as_person(cast.guardian).get(at).status_code == 404
    assert as_person(cast.unlinked_guardian).get(at).status_code == 404


def test_a_guardian_reading_leaves_the_answer_new_for_a_child_who_logs_in(cast):
    question = asked(cast)
    questions.say(question, cast.teacher, "So.", "", by_teacher=True)
    at = reverse("question", args=[question.pk])
    as_person(cast.guardian).get(at)
    question.refresh_from_db()
    assert question.answer_unread
    as_person(cast.pupil).get(at)
    question.refresh_from_db()
    assert not question.answer_unread


def test_worked_on_tells_and_waits_for_nobody(cast, returned):
    pupil = as_person(cast.pupil)
    way = reverse("worked", args=[cast.enrolment.pk]) + f"?clip={returned.pk}&moment=0"
    for _ in range(2):  # pressed twice
        answer = pupil.post(way, {"form_key": "k"})
        assert answer.headers["Location"] == reverse("clip_page", args=[returned.pk])
    question = Question.objects.get()
    assert (question.kind, question.waits_since) == (Question.Kind.WORKED, None)
    assert access.questions_waiting(cast.teacher) == []
    seen = as_person(cast.teacher).get(reverse("pupil", args=[cast.enrolment.pk]))
    assert "Worked on: Roll the finger back" in seen.content.decode()


def test_a_press_says_it_once_and_empty_words_are_kept_back(cast):
    pupil, way = as_person(cast.pupil), reverse("ask", args=[cast.enrolment.pk])
    for _ in range(3):
        pupil.post(way, {"text": "Once?", "form_key": "same"})
    assert QuestionEntry.objects.count() == 1
    refused = pupil.post(way, {"text": "  ", "form_key": "other"})
    assert refused.status_code == 422
    assert "Write what you want to ask" in refused.content.decode()


def test_what_is_said_once_more_waits_again_and_can_be_let_rest(cast):
    question = asked(cast)
    questions.say(question, cast.teacher, "So.", "", by_teacher=True)
    as_person(cast.pupil).post(
        reverse("question", args=[question.pk]), {"text": "Still not sure.", "form_key": "k"}
    )
    assert [q.pk for q in access.questions_waiting(cast.teacher)] == [question.pk]
    assert [q.pk for q in access.questions_waiting(cast.foreign_teacher)] == []
    at = reverse("question_rest", args=[question.pk])
    assert as_person(cast.pupil).post(at).status_code == 404
    as_person(cast.colleague).post(at)
    assert access.questions_waiting(cast.teacher) == []


def test_more_than_is_taken_in_within_a_day_is_refused_with_the_words_kept(cast, monkeypatch):
    monkeypatch.setattr(questions, "MOST_A_DAY", 2)
    for n in range(2):
        asked(cast, f"{n}")
    refused = as_person(cast.pupil).post(
        reverse("ask", args=[cast.enrolment.pk]), {"text": "One more", "form_key": "k"}
    )
    assert refused.status_code == 422
    assert "One more" in refused.content.decode()
    assert Question.objects.count() == 2


@pytest.mark.parametrize("query", ["clip=x", "drill=0", "drill=²", "clip=" + "0" * 32])
def test_what_is_not_there_cannot_be_asked_about(cast, query):
    way = reverse("ask", args=[cast.enrolment.pk]) + f"?{query}"
    assert as_person(cast.pupil).get(way).status_code == 404


def test_another_pupils_clip_cannot_be_asked_about(cast):
    clip = make_clip(cast.other_enrolment, "Jonas's")
    make_return(clip)
    way = reverse("ask", args=[cast.enrolment.pk]) + f"?clip={clip.pk}&moment=0"
    assert as_person(cast.pupil).get(way).status_code == 404


def test_a_question_about_an_erased_clip_is_not_there(cast, returned):
    question = asked(cast, about=About(clip=returned))
    returned.erased_at = timezone.now()
    returned.save()
    at = reverse("question", args=[question.pk])
    assert as_person(cast.teacher).get(at).status_code == 404
    assert access.questions_waiting(cast.teacher) == []


def test_after_the_lessons_it_can_be_read_at_home_and_nothing_added(cast):
    question = asked(cast)
    today = timezone.localdate()
    Enrolment.objects.filter(pk=cast.enrolment.pk).update(ended_on=today)
    at = reverse("question", args=[question.pk])
    home = as_person(cast.pupil)
    assert home.get(at).status_code == 200
    assert home.post(at, {"text": "More", "form_key": "k"}).status_code == 404
    assert as_person(cast.teacher).get(at).status_code == 404
    assert access.questions_waiting(cast.teacher) == []

"""What happens in lessons is told to those whom it concerns, each once, and to nobody else."""

from datetime import timedelta

import pytest
from django.utils import timezone

from studio.accounts.models import Consent, Enrolment, Notification
from studio.accounts.notifications import consent_needed, reading
from studio.drills import setting_told
from studio.drills.models import Assignment
from studio.review import questions
from studio.review.questions import About
from studio.rights.erasure import traces
from tests.cast import make_clip, make_drill, set_for


def told(kind: str) -> dict[str, str]:
    """Who was told of a kind, and how."""
    rows = Notification.objects.filter(kind=kind).select_related("to", "by", "about")
    return {row.to.name: reading.sentence(row) for row in rows}


def test_a_clip_that_comes_in_is_told_to_its_teacher(cast):
    clip = make_clip(cast.enrolment)
    assert told("waiting") == {"Ottilie Brandt": "A recording of Mira Sandholm has come in."}
    assert Notification.objects.get().letter_due_at is None
    traces.forget_clip_ids([clip.pk])
    assert told("waiting") == {}, "with the clip goes what was told of it"


@pytest.mark.parametrize(
    ("author", "sentence"),
    [
        ("pupil", "Mira Sandholm asks you something."),
        ("guardian", "Edda Sandholm asks something about the lessons of Mira Sandholm."),
    ],
)
def test_a_question_is_told_to_the_teacher_and_its_answer_to_the_family(cast, author, sentence):
    asker = getattr(cast, author)
    question = questions.ask(cast.enrolment, asker, "Which finger?", About(), "one")
    questions.ask(cast.enrolment, asker, "Which finger?", About(), "one")  # pressed twice
    assert told("asked") == {"Ottilie Brandt": sentence}
    questions.say(question, cast.colleague, "The third.", "two", by_teacher=True)
    assert told("answered") == {
        "Mira Sandholm": "Colleague has answered your question.",
        "Edda Sandholm": "Colleague has answered a question about the lessons of Mira Sandholm.",
    }
    assert Notification.objects.filter(path=f"/questions/{question.pk}/").count() == 3


def test_that_something_was_worked_on_waits_for_nobody_and_is_told_to_nobody(cast):
    questions.tell_worked(cast.enrolment, cast.pupil, "Ten minutes.", About(), "one")
    assert not Notification.objects.exists()


def test_a_drill_is_told_once_it_can_be_seen_and_not_what_was_set_long_ago(cast):
    drill = make_drill(cast.teacher, cast.studio)
    set_for(cast.enrolment, drill)
    hidden = set_for(cast.other_enrolment, drill, published=False)
    old = timezone.now() - setting_told.STALE - timedelta(minutes=1)
    Assignment.objects.filter(pk=set_for(cast.other_enrolment, drill).pk).update(published_at=old)
    assert (setting_told.tell_due(), setting_told.tell_due()) == (1, 0)
    assert told("set") == {
        "Mira Sandholm": "Ottilie Brandt has set you a drill: Octaves, slowly.",
        "Edda Sandholm": "Ottilie Brandt has set Mira Sandholm a drill: Octaves, slowly.",
    }
    Assignment.objects.filter(pk=hidden.pk).update(published_at=timezone.now())
    assert setting_told.tell_due() == 1
    assert "Jonas Weidegger" in told("set")


def test_missing_consent_is_told_to_who_decides_once_and_not_after_a_withdrawal(cast):
    Consent.objects.all().delete()
    assert consent_needed.tell_due() == 0, "on the first day it is asked for anyway"
    Enrolment.objects.update(started_on=timezone.localdate() - timedelta(days=1))
    Enrolment.objects.filter(pupil=cast.former_pupil).update(
        started_on=timezone.localdate() - timedelta(days=9)
    )
    assert consent_needed.tell_due() == 3
    assert consent_needed.tell_due() == 0
    sentence = "Mira Sandholm cannot send a recording before you agree. Please read and decide."
    assert told("consent")["Edda Sandholm"] == sentence
    assert "Mira Sandholm" not in told("consent"), "her guardian decides"
    assert told("consent")["Jonas Weidegger"].startswith("You cannot send a recording")
    withdrawn = {"withdrawn_at": timezone.now(), "withdrawn_by": cast.guardian}
    said = {"pupil": cast.pupil, "studio": cast.studio, "given_by": cast.guardian}
    Consent.objects.create(purpose=Consent.Purpose.RECORDINGS, **said, **withdrawn)
    assert consent_needed.tell_due() == 0

"""Questions from home, and their answers: asked, told, answered, let rest. No live talk.

A question waits from the moment something is said from home until a teacher answers or lets it
rest. What says "I have worked on this" waits for nobody. Each press is carried out once, by the
key that its page chose.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts import guardians
from studio.accounts.models import Enrolment, Person
from studio.accounts.notifications import kinds, tell_each
from studio.clips.models import Clip
from studio.drills.models import Assignment

from .models import Question, QuestionEntry

MOST_A_DAY = 30  # entries from home for one pupil; chosen: far above use, far below a nuisance


class TooMany(Exception):
    """More was said from home today than is taken in; the text is for the person."""


@dataclass(frozen=True, slots=True)
class About:
    """What a question is about: a moment of a returned clip (``quoted``: the words that stand
    there), the clip as a whole, a drill that was set, or nothing of these."""

    clip: Clip | None = None
    at_s: float | None = None
    quoted: str = ""
    assignment: Assignment | None = None


@transaction.atomic
def ask(enrolment: Enrolment, author: Person, text: str, about: About, key: str) -> Question:
    """A question from home. The same key again gives the question that was asked with it.

    Raises
    ------
    TooMany
        When ``MOST_A_DAY`` entries came from home within a day.
    """
    return _begun(enrolment, author, text, about, key, Question.Kind.ASKED)


@transaction.atomic
def tell_worked(
    enrolment: Enrolment, author: Person, text: str, about: About, key: str
) -> Question:
    """ "I have worked on this", perhaps with a word; it waits for no answer.

    Raises
    ------
    TooMany
        As :func:`ask`.
    """
    return _begun(enrolment, author, text, about, key, Question.Kind.WORKED)


@transaction.atomic
def say(question: Question, author: Person, text: str, key: str, *, by_teacher: bool) -> None:
    """An answer of a teacher, or more from home; the same key again says nothing.

    Raises
    ------
    TooMany
        As :func:`ask`, for what comes from home.
    """
    if _said_before(author, key):
        return
    if not by_teacher:
        _require_few(question.enrolment)
    now = timezone.now()
    _add(question, author, text, key, by_teacher, now)
    Question.objects.filter(pk=question.pk).update(
        waits_since=None if by_teacher else now, answer_unread=by_teacher
    )


def let_rest(question: Question) -> None:
    """A teacher needs to say nothing to it: it waits no longer."""
    Question.objects.filter(pk=question.pk).update(waits_since=None)


def note_read(question: Question) -> None:
    """Somebody at home has opened it."""
    if question.answer_unread:
        Question.objects.filter(pk=question.pk).update(answer_unread=False)


def _begun(
    enrolment: Enrolment, author: Person, text: str, about: About, key: str, kind: str
) -> Question:
    before = _said_before(author, key)
    if before:
        return before.question
    _require_few(enrolment)
    now = timezone.now()
    question = Question.objects.create(
        enrolment=enrolment,
        kind=kind,
        clip=about.clip,
        at_s=about.at_s,
        quoted=about.quoted,
        assignment=about.assignment,
        created_at=now,
        waits_since=now if kind == Question.Kind.ASKED else None,
    )
    _add(question, author, text, key, False, now)
    return question


def _add(
    question: Question, author: Person, text: str, key: str, by_teacher: bool, now: datetime
) -> None:
    entry = QuestionEntry.objects.create(
        question=question,
        author=author,
        by_teacher=by_teacher,
        text=text,
        form_key=key,
        said_at=now,
    )
    if by_teacher or question.kind == Question.Kind.ASKED:
        _tell(entry)


def _tell(entry: QuestionEntry) -> None:
    """The family of a teacher's answer, the teacher of what home asks; nobody of her own words."""
    place, path = entry.question.enrolment, reverse("question", kwargs={"pk": entry.question_id})
    family = [place.pupil, *guardians.of(place)]
    tell_each(
        [one for one in (family if entry.by_teacher else [place.teacher]) if one != entry.author],
        kinds.ANSWERED if entry.by_teacher else kinds.ASKED,
        key=f"said-{entry.pk}",
        about=place.pupil,
        by=entry.author,
        studio=place.studio,
        path=path,
    )


def _said_before(author: Person, key: str) -> QuestionEntry | None:
    if not key:
        return None
    said = QuestionEntry.objects.select_related("question")
    return said.filter(author=author, form_key=key).first()


def _require_few(enrolment: Enrolment) -> None:
    since = timezone.now() - timedelta(days=1)
    said = QuestionEntry.objects.filter(
        question__enrolment=enrolment, by_teacher=False, said_at__gt=since
    )
    if said.count() >= MOST_A_DAY:
        raise TooMany(
            _(
                "%(most_a_day)s messages came within a day, and more are not taken in. Your"
                " words are still here: send them tomorrow."
            )
            % {"most_a_day": MOST_A_DAY}
        )

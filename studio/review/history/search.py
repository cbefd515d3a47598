"""Words looked for in all that a teacher may see: pupils, drills, clips, what was said, notes,
questions. Of each kind the newest few; nobody's recordings without consent.
"""

from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.functions import Substr

from studio.accounts import access as people
from studio.accounts.models import Enrolment, Person
from studio.clips.models import Clip
from studio.drills import access as drills
from studio.drills.lessons.models import LessonNote
from studio.drills.models import Drill, DrillVersion
from studio.review.models import Question, QuestionEntry, ReturnedMoment

MOST = 8  # of each kind
LEAST_LETTERS = 2
MOST_WORDS = 6
BEGINNING = 200  # letters


@dataclass(frozen=True, slots=True)
class Found:
    """What was found, of each kind; ``more`` names the kinds of which there is more."""

    pupils: list[Enrolment]
    drills: list[Drill]
    said: list[ReturnedMoment]
    clips: list[Clip]
    notes: list[LessonNote]
    questions: list[Question]
    more: frozenset[str]

    @property
    def is_empty(self) -> bool:
        kinds = (self.pupils, self.drills, self.said, self.clips, self.notes, self.questions)
        return not any(kinds)


def words_in(text: str) -> tuple[str, ...]:
    """What is looked for; each found thing has all of the words."""
    said = text.replace("\0", " ")  # which no text on PostgreSQL may hold
    words = (word for word in said.split() if len(word) >= LEAST_LETTERS)
    return tuple(words)[:MOST_WORDS]


def search(person: Person, words: tuple[str, ...]) -> Found:
    """One query for each kind, however much there is."""
    heard = people.places_to_hear(person)
    asked = {
        "pupils": _pupils(person, words),
        "drills": _drills(person, words),
        "said": _said(heard, words),
        "clips": _clips(heard, words),
        "notes": _notes(person, words),
        "questions": _questions(person, words),
    }
    rows = {kind: list(_newest(query)) for kind, query in asked.items()}
    more = frozenset(kind for kind, found in rows.items() if len(found) > MOST)
    return Found(**{kind: found[:MOST] for kind, found in rows.items()}, more=more)


def _newest(found: QuerySet) -> QuerySet:
    """The first few rows of a query, which are picked by their keys before anything is joined.

    A common word stands in thousands, and to put those in order their long columns were carried
    along.
    """
    first = found.select_related(None).defer(None).values("pk")[: MOST + 1]
    return found.filter(pk__in=first)


def _each(words: tuple[str, ...], *fields: str) -> Q:
    """A condition: every word stands in one of the fields."""
    found = Q()
    for word in words:
        here = Q()
        for field in fields:
            here |= Q(**{f"{field}__icontains": word})
        found &= here
    return found


def _taught(person: Person) -> QuerySet:
    return people.enrolments_taught_by(person).order_by().values("pk")


def _pupils(person: Person, words: tuple[str, ...]) -> QuerySet[Enrolment]:
    taught = people.enrolments_taught_by(person)
    return taught.filter(_each(words, "pupil__name")).order_by("pupil__name", "pk")


def _drills(person: Person, words: tuple[str, ...]) -> QuerySet[Drill]:
    later = DrillVersion.objects.filter(drill=OuterRef("drill"), number__gt=OuterRef("number"))
    newest = DrillVersion.objects.filter(~Exists(later)).filter(
        _each(words, "title", "words", "key", "drill__tags")
    )
    return drills.titles_on_shelf(person).filter(pk__in=newest.values("drill"))


def _said(heard: list[int], words: tuple[str, ...]) -> QuerySet[ReturnedMoment]:
    said = ReturnedMoment.objects.filter(_each(words, "text"), enrolment__in=heard)
    related = ("enrolment__pupil", "returned__review__clip")
    found = said.select_related(*related).defer(
        "returned__snapshot", "returned__review__clip__info"
    )
    return found.order_by("-at", "-pk")


def _clips(heard: list[int], words: tuple[str, ...]) -> QuerySet[Clip]:
    found = Clip.objects.filter(
        _each(words, "title", "note", "review__summary"),
        enrolment__in=heard,
        intake=Clip.Intake.RECEIVED,
        erased_at=None,
    )
    return found.select_related("enrolment__pupil", "review").defer("info").order_by("-created_at")


def _notes(person: Person, words: tuple[str, ...]) -> QuerySet[LessonNote]:
    notes = LessonNote.objects.filter(_each(words, "text", "agreed"), enrolment__in=_taught(person))
    return notes.select_related("enrolment__pupil").order_by("-held_on", "-pk")


def _questions(person: Person, words: tuple[str, ...]) -> QuerySet[Question]:
    entries = QuestionEntry.objects.filter(_each(words, "text"), question=OuterRef("pk"))
    begin = QuestionEntry.objects.filter(question=OuterRef("pk")).order_by("said_at", "pk")
    found = Question.objects.filter(Exists(entries), enrolment__in=_taught(person))
    found = found.filter(Q(clip=None) | Q(clip__erased_at=None))
    found = found.annotate(beginning=begin.annotate(b=Substr("text", 1, BEGINNING)).values("b")[:1])
    return found.select_related("enrolment__pupil").order_by("-created_at", "-pk")

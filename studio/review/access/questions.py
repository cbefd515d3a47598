"""Who may read and answer which question: whoever sees the pupil's place, and all of it."""

from django.db.models import BigIntegerField, OuterRef, Q, QuerySet, Subquery, UUIDField
from django.db.models.functions import Substr

from studio.accounts import access as people
from studio.accounts.access import PERSON, get_or_404
from studio.accounts.models import Enrolment, Person
from studio.accounts.prepared import Given, Prepared
from studio.clips.models import Clip
from studio.drills.access import scores_of
from studio.drills.models import Assignment
from studio.review.models import Question, QuestionEntry

BEGINNING = 160  # letters of what was asked, in a list
LISTED = 50


def question_for(person: Person, pk: int) -> Question:
    """A question of a place that ``person`` may look at, of ended lessons too for a family; 404."""
    return get_or_404(_questions().filter(enrolment__in=people.enrolments_seen_by(person)), pk)


def questions_of(enrolment: Enrolment | Given) -> QuerySet[Question]:
    """All questions of a place, the newest first, each with how it begins (``beginning``)."""
    return _with_beginnings(_questions().filter(enrolment=enrolment))


def questions_about(about: Clip | Assignment) -> list[Question]:
    """The questions about a clip or a drill that was set, the oldest first."""
    return _about("clip" if isinstance(about, Clip) else "assignment", about=about.pk)


@Prepared
def _about(what: str) -> QuerySet[Question]:
    asked = Given("about", UUIDField() if what == "clip" else BigIntegerField())
    return _with_beginnings(_questions().filter(**{what: asked})).order_by("created_at", "pk")


def questions_waiting(person: Person) -> list[Question]:
    """What waits for an answer of ``person``'s studios, the longest wait first."""
    return _waiting(person=person.pk)


@Prepared
def _waiting() -> QuerySet[Question]:
    waits = _questions().filter(waits_since__isnull=False)
    found = waits.filter(enrolment__in=people.enrolments_taught_by(PERSON).values("pk"))
    return _with_beginnings(found).order_by("waits_since", "pk")[:LISTED]


def _with_beginnings(questions: QuerySet[Question]) -> QuerySet[Question]:
    first = QuestionEntry.objects.filter(question=OuterRef("pk")).order_by("said_at", "pk")
    begin = Subquery(first.annotate(begin=Substr("text", 1, BEGINNING)).values("begin")[:1])
    return questions.annotate(beginning=begin)


def _questions() -> QuerySet[Question]:
    related = ("enrolment__pupil", "enrolment__studio", "clip", "assignment__version")
    versions = scores_of("assignment__version")
    there = Q(clip=None) | Q(clip__erased_at=None)
    return Question.objects.filter(there).select_related(*related).defer(*versions)

"""What a pupil finds: the queue, what came back, what was sent. A guardian sees the same."""

from collections.abc import Iterable

from django.conf import settings
from django.db.models import DateTimeField, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe

from studio.accounts import access as people
from studio.accounts.access import PLACE
from studio.accounts.models import Enrolment
from studio.accounts.prepared import Given, Prepared
from studio.accounts.simple_reading import reads as reads_simply
from studio.clips import access as clips
from studio.clips.models import Clip
from studio.drills import access as drills
from studio.drills.lessons import access as lessons
from studio.drills.models import Assignment
from studio.drills.practice import pages as practice
from studio.drills.timetable import access as timetable
from studio.drills.timetable import weeks
from studio.review import access
from studio.review.access import NOW
from studio.review.models import Return
from studio.review.web.shared.moments import went_well

from . import offline
from .shared import clip_states
from .shared.ways import record_at, send_at

RETURNS_SHOWN = 8
DONE_SHOWN = 8
QUESTIONS_SHOWN = 5


@require_safe
def queue(request: HttpRequest) -> HttpResponse:
    return _home(request, people.own_enrolment(request.user), "pupil")


@require_safe
def children(request: HttpRequest) -> HttpResponse:
    """The children a guardian answers for, each with what waits to be read and practised."""
    guarded = people.guarded_places(request.user)
    if "guardian" not in people.roles_of(request.user):
        raise Http404
    places = access.counted(guarded, "open_assignments", "unread_returns")
    for place in places:
        place.send_at = send_at(request.user, place, place.consented)
    ended = people.ended_children(request.user)
    context = {"places": places, "ended": ended, "area": "guardian"}
    counts = [(place.open_assignments, place.unread_returns, place.consented) for place in places]
    context["keeps"] = offline.of_children(request.user, places, counts)
    return render(request, "review/children.html", context)


@require_safe
def child(request: HttpRequest, pk: int) -> HttpResponse:
    enrolment = people.guarded_enrolment(request.user, pk)
    return _home(request, enrolment, "guardian")


def _home(request: HttpRequest, enrolment: Enrolment, area: str) -> HttpResponse:
    places = [clip_states.at_home(clip) for clip in _clips_underway(enrolment)]
    context = {"enrolment": enrolment, "area": area, "places": places}
    context["send_at"] = send_at(request.user, enrolment, enrolment.consented)
    context["record_at"] = record_at(request.user, enrolment)
    context["moving"] = clip_states.any_moving(places)
    if request.htmx:
        response = render(request, "review/sent.html", context)
    else:
        context |= _reading(enrolment, all_returns=request.GET.get("returned") == "all")
        if area == "guardian":
            others = people.enrolments_guarded_by(request.user).exclude(pk=enrolment.pk)
            context["siblings"] = others.order_by("pupil__name", "pk")
        context["is_simple"] = reads_simply(enrolment, is_own=area == "pupil")
        context["practice_words"] = practice.for_children
        context["term"] = practice.term_of(enrolment)
        context["may_note"] = bool(context["send_at"])  # who sends clips notes practice
        coming = timetable.coming_at_home(enrolment)
        context["coming_lessons"] = weeks.shown_at_home(coming, request.user, timezone.now())
        context["csrf_cookie"] = settings.CSRF_COOKIE_NAME
        context["keeps"] = _kept(request, enrolment, context)
        response = render(request, "review/queue.html", context)
    patch_vary_headers(response, ["HX-Request"])
    return response


def _kept(request: HttpRequest, enrolment: Enrolment, context: dict) -> dict:
    """What the browser keeps for when there is no line, of what was read for this page."""
    underway = [(place.clip.pk, place.steps, place.refusal) for place in context["places"]]
    asked = [(one.pk, one.waits_since, one.answer_unread) for one in context["questions"]]
    done = [one.pk for one in context["done"]]
    lessons_said = [(one.pk, one.version) for one in context["lesson_notes"]]
    coming = [(one.lesson.pk, one.lesson.sequence) for one in context["coming_lessons"]]
    said = [underway, asked, done, lessons_said, coming, bool(enrolment.consented)]
    noted = context["term"].picture if context["may_note"] else None
    shown = (context["queue"], context["returns"], said, noted)
    return offline.of_home(request.user, enrolment, *shown)


def _reading(enrolment: Enrolment, all_returns: bool) -> dict:
    asked = {"place": enrolment.pk, "now": timezone.now()}
    shown = _returns(all_returns, **asked)
    more = not all_returns and len(shown) > RETURNS_SHOWN
    return {
        "unread": [returned for returned in shown if returned.read_at is None],
        "queue": _with_praise(_queue(**asked), shown),
        "done": _done(**asked),
        "returns": shown[:RETURNS_SHOWN] if more else shown,
        "more_returns": more,
        "questions": _questions(place=enrolment.pk),
        "may_ask": True,
        "lesson_notes": lessons.shared_at_home(enrolment),
    }


def _with_praise(queue: Iterable[Assignment], returns: Iterable[Return]) -> list[Assignment]:
    """What is to be practised, each with what went well in the last clip of it that came back."""
    newest: dict[int, Return] = {}
    for returned in returns:
        newest.setdefault(returned.review.answers_id, returned)
    tasks = list(queue)
    for assignment in tasks:
        returned = newest.get(assignment.pk)
        assignment.went_well = went_well(returned.snapshot) if returned else ""
    return tasks


def _clips_underway(enrolment: Enrolment) -> list[Clip]:
    """Sent and not returned, newest first; what was refused only for a while."""
    now = timezone.now()
    return _underway(place=enrolment.pk, now=now, long_ago=now - Clip.REFUSED_SHOWN)


_questions = Prepared(lambda: access.questions_of(PLACE)[:QUESTIONS_SHOWN])
_done = Prepared(lambda: drills.done_by(PLACE, NOW)[:DONE_SHOWN])
_queue = Prepared(lambda: access.with_sendings(drills.queue_of(PLACE, NOW), NOW))


@Prepared
def _returns(everything: bool) -> QuerySet[Return]:
    returns = access.returns_of(PLACE, NOW)
    return returns if everything else returns[: RETURNS_SHOWN + 1]


@Prepared
def _underway() -> QuerySet[Clip]:
    long_ago = Given("long_ago", DateTimeField())
    return (
        clips.clips_of(PLACE)
        .filter(Q(review__returned__isnull=True) | Q(review__returned__visible_at__gt=NOW))
        .exclude(intake=Clip.Intake.REFUSED, created_at__lt=long_ago)
        .select_related("review__answers__version", "uploaded_by")
        .defer(*drills.scores_of("review__answers__version"))
    )

"""A drill that was set: its page, what counts as done, and what the last clip showed of it."""

from typing import Any
from uuid import uuid4

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from studio.accounts import access as people
from studio.accounts.models import Person
from studio.accounts.simple_reading import reads as reads_simply
from studio.clips.models import Clip
from studio.drills import access as drills
from studio.drills.models import Assignment
from studio.drills.practice import pages as practice
from studio.drills.practice.access import shown_to
from studio.drills.sheets import kept_sheet
from studio.drills.stretches import player_of, stretches
from studio.intonation.wording import for_children
from studio.notation.tones import hearing
from studio.review import access
from studio.review.marks import drill_results
from studio.review.marks.drill_results import Shown
from studio.review.marks.judging import judged
from studio.review.web.shared.moments import went_well
from studio.review.web.shared.ways import send_at


@require_safe
def assignment_page(request: HttpRequest, pk: int) -> HttpResponse:
    """For the pupil, the guardian, and the teacher who wants to see what they see."""
    assignment = drills.seen_assignment(request.user, pk)
    area = drills.area_of(request.user, assignment)
    clip, shown, well = _last_shown(assignment, area)
    context = {
        "area": area,
        "assignment": assignment,
        "version": assignment.version,
        "enrolment": assignment.enrolment,
        "send_at": "" if area == "teacher" else _send_at(request.user, assignment),
        "clip": clip,
        "shown": shown,
        "well": well,
    }
    context["questions"] = access.questions_about(assignment)
    if area != "teacher":  # whether it was in time is the teacher's to see
        context |= {"may_ask": True, "ask_about": f"drill={pk}", "worked_key": uuid4().hex}
        context["sending"] = access.with_sendings(Assignment.objects.filter(pk=pk)).first()
    is_simple = area != "teacher" and reads_simply(
        assignment.enrolment, is_own=area == "pupil", asked=request.GET.get("as", "")
    )
    context |= {"is_simple": is_simple, "words": for_children}
    context |= _practice(request, assignment, area, is_simple)
    score, studio = assignment.version.page, assignment.enrolment.studio
    if score is not None:
        player = player_of(assignment.enrolment, score.instrument)
        figures, spoken = (shown.figures, shown.spoken) if shown and not is_simple else (None, None)
        context |= {
            "sheet": kept_sheet(score, request.GET.get("page"), figures, spoken, large=is_simple),
            "stretches": stretches(score, player),
            "player": player,
            "player_is": assignment.enrolment,
            "hearing": hearing(score, tuning=studio.tuning, a4_hz=studio.a4_hz),
        }
    if shown:
        context |= {
            "reached": shown.reaches(assignment),
            "needed": assignment.needed_of(len(shown.notes)),
        }
    return render(request, "drills/set.html", context)


def _practice(
    request: HttpRequest, assignment: Assignment, area: str, is_simple: bool
) -> dict[str, Any]:
    """What was practised of it, for who may read that; at home the form and timer for more."""
    place = assignment.enrolment
    found: dict[str, Any] = {"csrf_cookie": settings.CSRF_COOKIE_NAME}
    if shown_to(request.user, place):
        found["practised"] = practice.of_drill(assignment)
    if area != "teacher":
        home = people.home_enrolment(request.user, place.pk)
        found["note"] = practice.noting(request.user, home, is_simple, drill=assignment)
    return found


def _send_at(person: Person, assignment: Assignment) -> str:
    """Where a clip of it is sent; empty where nobody has agreed, or the person does not send."""
    place = people.home_enrolment(person, assignment.enrolment_id)
    return send_at(person, place, place.consented)


def _last_shown(assignment: Assignment, area: str) -> tuple[Clip | None, Shown | None, str]:
    """The newest clip that answers the assignment, what it showed of it, and what went well.

    At home that is the newest one returned, as it was returned; for the teacher the newest heard.
    """
    if area == "teacher":
        review = access.heard_answer(assignment)
        found = judged(review) if review else None
        if review is None or found is None:
            return None, None, ""
        return review.clip, Shown.from_dict(drill_results.of(found)), ""
    returned = access.returned_answer(assignment)
    if returned is None:
        return None, None, ""
    shown = Shown.from_dict(returned.snapshot.get("shown"))
    return returned.review.clip, shown, went_well(returned.snapshot)

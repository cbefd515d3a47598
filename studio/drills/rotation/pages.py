"""What the teacher's pages of a key rotation show."""

from datetime import date

from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from studio.accounts.models import Enrolment, Studio
from studio.notation.tones import hearing

from .. import access as drills
from ..models import ShelfSettings
from ..sheets import sheet_of
from ..stretches import stretches
from . import access
from .forms import BeginForm, HolidayForm, ListsForm, ProposalForm, RhythmForm, RoundForm, SetForm
from .models import Rotation, RotationLesson
from .overview import Overview, overview_of
from .proposals import Proposal, plays_of, propose

__all__ = [
    *("beginning", "known_intervals", "lesson", "overview_of", "plan", "setting"),
    "shelf_settings",
]


def known_intervals(studio: Studio) -> tuple[str, ...]:
    """The words for intervals, in the order in which the studio teaches them."""
    return drills.settings_of(studio).order


def shelf_settings(rotation: Rotation) -> ShelfSettings:
    """How the pupil's studio teaches."""
    return drills.settings_of(rotation.enrolment.studio)


def beginning(request: HttpRequest, enrolment: Enrolment, form: BeginForm) -> HttpResponse:
    """The form of a plan that is not there yet; the keys as proposed where that was asked for."""
    proposal = ProposalForm(request.GET or None)
    if proposal.is_valid() and not form.is_bound:
        form.propose(proposal.lessons())
    context = {
        "area": "teacher",
        "enrolment": enrolment,
        "form": form,
        "proposal": proposal,
    }
    return render(request, "drills/rotation_begin.html", context, status=_status(form))


def plan(
    request: HttpRequest,
    rotation: Rotation,
    *,
    changed: bool = False,
    rhythm: Form | None = None,
    holiday: Form | None = None,
    round_form: tuple[int, Form] | None = None,
    lists: Form | None = None,
) -> HttpResponse:
    """The plan; with a form that was refused, or 409 with a sentence when somebody was first."""
    shown = overview_of(rotation)
    context = {
        "area": "teacher",
        "enrolment": rotation.enrolment,
        "rotation": rotation,
        "plan": shown,
        "changed": changed,
        "rhythm": rhythm or _rhythm(shown),
        "holiday": holiday or HolidayForm(auto_id="id_holiday_%s"),
        "holidays": [span for span in rotation.holidays.all() if span.last_on >= shown.today],
        "rounds": _rounds(shown, round_form),
        "readiness": _readiness(rotation),
        "lists": lists or ListsForm(rotation),
    }
    if shown.next is not None:
        context |= _to_set(shown.next.lesson, rotation.enrolment, shown.next.day)
    status = 409 if changed else _status(rhythm, holiday, lists, round_form and round_form[1])
    return render(request, "drills/rotation.html", context, status=status)


def lesson(
    request: HttpRequest,
    found: RotationLesson,
    *,
    form: Form | None = None,
    none_chosen: bool = False,
) -> HttpResponse:
    """A lesson with one of its drills engraved: the one asked for, else the first that can be."""
    rotation = access.taught_rotation(request.user, found.round.rotation.enrolment_id)
    shown = overview_of(rotation)
    place, enrolment = shown.place_of(found), rotation.enrolment
    context = {
        "area": "teacher",
        "enrolment": enrolment,
        "rotation": rotation,
        "place": place,
        "lesson": found,
        "none_chosen": none_chosen,
        "none_done": not any(planned.done_on for planned in found.planned),
        **_to_set(found, enrolment, place.day, form),
    }
    made = [proposal for proposal in context["proposals"] if proposal.score]
    asked = request.GET.get("show")
    chosen = next(
        (proposal for proposal in made if proposal.name == asked), made[0] if made else None
    )
    if chosen is not None:
        studio = enrolment.studio
        context |= {
            "chosen": chosen,
            "sheet": sheet_of(chosen.score, request.GET.get("page")),
            "hearing": hearing(chosen.score, tuning=studio.tuning, a4_hz=studio.a4_hz),
            "stretches": stretches(chosen.score, context["player"]),
            "player_is": enrolment,
        }
    return render(request, "drills/rotation_lesson.html", context, status=_status(form))


def setting(request: HttpRequest, found: RotationLesson) -> tuple[SetForm, list[Proposal]]:
    """What was posted: until when and what for, and the proposals that were chosen."""
    names = set(request.POST.getlist("drill"))
    proposals = propose(found, found.round.rotation.enrolment)
    return SetForm(request.POST), [one for one in proposals if one.name in names and one.made]


def _to_set(
    found: RotationLesson, enrolment: Enrolment, day: date, form: Form | None = None
) -> dict:
    """A lesson's proposals, which of them are set, and the form that sets the others."""
    proposals = propose(found, enrolment)
    requests = [a.version.request for a in access.assignments_of(found)]
    already = [one.name for one in proposals if one.is_among(requests)]
    due = max(day, timezone.localdate())
    plays, player = plays_of(enrolment)
    return {
        "proposals": proposals,
        "already": already,
        "left": [one for one in proposals if one.made and one.name not in already],
        "setting": form or SetForm(initial={"due_on": due}),
        "plays": plays,
        "plays_known": enrolment.instrument() is not None,
        "player": player,
    }


def _rhythm(shown: Overview) -> RhythmForm:
    day = shown.next.day if shown.next else shown.today
    says = {"first_on": day, "every_weeks": shown.rotation.every_weeks}
    return RhythmForm(initial=says, auto_id="id_rhythm_%s")


def _rounds(shown: Overview, refused: tuple[int, Form] | None) -> list[tuple]:
    """Each round with its form."""
    settings = shelf_settings(shown.rotation)
    forms = dict([refused]) if refused else {}
    return [
        (one, forms.get(one.round.number) or RoundForm.of(one.round, settings))
        for one in shown.rounds
    ]


def _readiness(rotation: Rotation) -> list[tuple[int, str, date | None]]:
    """Each line of the list by its place, with the day on which it was ticked."""
    return [
        (place, line["words"], date.fromisoformat(line["ticked_on"]) if line["ticked_on"] else None)
        for place, line in enumerate(rotation.readiness)
    ]


def _status(*forms: Form | None) -> int:
    return 422 if any(form is not None and form.is_bound for form in forms) else 200

"""The teacher's pupils: the list, and each pupil's page."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from studio import figures
from studio.accounts import access as people
from studio.accounts import services as people_services
from studio.accounts.forms import PupilForm
from studio.accounts.models import Enrolment, Instrument, current
from studio.clips import access as clips
from studio.clips.models import Clip
from studio.drills import access as drills
from studio.drills import services as drill_services
from studio.drills.forms import SetDrillForm
from studio.review import access

from . import states

CLIPS_SHOWN = 20
PUPILS_SHOWN = 50
SAID_OF_A_PUPIL = ("open_assignments", "clips_waiting", "last_returned_at")
LONGEST_NAME = 120  # letters, as a person may have


@require_safe
def pupils(request: HttpRequest) -> HttpResponse:
    people.teaching_studio(request.user)
    playing = Instrument.objects.filter(current()).order_by("-started_on", "-pk")
    wanted = " ".join(request.GET.get("q", "").split())[:LONGEST_NAME]
    everybody = people.enrolments_taught_by(request.user).order_by("pupil__name", "pk")
    found = everybody.filter(pupil__name__icontains=wanted) if wanted else everybody
    page = Paginator(found, PUPILS_SHOWN).get_page(request.GET.get("page"))
    plays = Prefetch("pupil__instruments", playing, to_attr="plays_anywhere")
    places = access.counted(page.object_list.prefetch_related(plays), *SAID_OF_A_PUPIL)
    for place in places:  # a pupil of two studios may play another instrument in each
        here = (one for one in place.pupil.plays_anywhere if one.studio_id == place.studio_id)
        place.playing = next(here, None)
    context = {"places": places, "page": page, "wanted": wanted, "area": "teacher"}
    return render(request, "review/pupils.html", context)


@require_safe
def pupil(request: HttpRequest, pk: int) -> HttpResponse:
    return _page(request, people.taught_enrolment(request.user, pk))


@require_POST
def change_pupil(request: HttpRequest, pk: int) -> HttpResponse:
    """Level, instrument and string length. What was measured before keeps what it used."""
    enrolment = people.taught_enrolment(request.user, pk)
    form = PupilForm(request.POST)
    if not form.is_valid():
        return _page(request, enrolment, about=form)
    said = form.cleaned_data
    people_services.change_pupil(
        enrolment, said["level"], said["kind"], said["string_length_mm"], by=request.user
    )
    messages.success(request, f"Saved. {enrolment.pupil}’s next clips are judged by it.")
    return redirect("pupil", pk=pk)


@require_POST
def set_drill(request: HttpRequest, pk: int) -> HttpResponse:
    """Set a drill outside a review: it stands in the pupil's queue at once."""
    enrolment = people.taught_enrolment(request.user, pk)
    form = SetDrillForm(request.user, enrolment.studio_id, request.POST)
    if not form.is_valid():
        return _page(request, enrolment, setting=form)
    version = form.cleaned_data["drill"].newest()
    if not form.look_at(version, enrolment):
        return _page(request, enrolment, setting=form)
    drill_services.set_drill_now(version, enrolment, request.user, **form.goals())
    messages.success(request, f"“{version}” is in {enrolment.pupil}’s queue.")
    return redirect("pupil", pk=pk)


def _page(
    request: HttpRequest,
    enrolment: Enrolment,
    about: PupilForm | None = None,
    setting: SetDrillForm | None = None,
) -> HttpResponse:
    instrument = enrolment.instrument()
    sent = list(_clips(enrolment)[: CLIPS_SHOWN + 1])
    context = {
        "area": "teacher",
        "enrolment": enrolment,
        "instrument": instrument,
        "about": about or _about(enrolment, instrument),
        "setting": setting or SetDrillForm(request.user, enrolment.studio_id),
        "queue": drills.set_for(enrolment),
        "done": drills.done_by(enrolment)[:10],
        "places": [states.of(clip) for clip in sent[:CLIPS_SHOWN]],
        "more_clips": len(sent) > CLIPS_SHOWN,
    }
    return render(request, "review/pupil.html", context, status=422 if about or setting else 200)


def _about(enrolment: Enrolment, instrument: Instrument | None) -> PupilForm:
    initial: dict = {"level": enrolment.level}
    if instrument is not None:
        length = figures.number(instrument.string_length_mm)
        initial |= {"kind": instrument.kind, "string_length_mm": length}
    return PupilForm(initial=initial)


def _clips(enrolment: Enrolment):
    return (
        clips.clips_of(enrolment)
        .filter(intake=Clip.Intake.RECEIVED)
        .select_related("review__answers__version", "review__returned")
        .defer(*drills.scores_of("review__answers__version"))
    )

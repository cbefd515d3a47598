"""The teacher's pupils: the list, and each pupil's page."""

from dataclasses import dataclass

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, QuerySet, Value
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from studio import figures
from studio.accounts import access as people
from studio.accounts import services as people_services
from studio.accounts.access import PERSON, PLACE
from studio.accounts.forms import PupilForm
from studio.accounts.models import Enrolment, Instrument, Person, current
from studio.accounts.prepared import Given, IsOneOf, Prepared
from studio.clips import access as clips
from studio.clips.models import Clip
from studio.drills import access as drills
from studio.drills import services as drill_services
from studio.drills.forms import SetDrillForm
from studio.drills.practice import pages as practice
from studio.review import access
from studio.review.access import NOW

from .shared import clip_states

CLIPS_SHOWN = 20
DONE_SHOWN = 10
QUESTIONS_SHOWN = 10
PUPILS_SHOWN = 50
SAID_OF_A_PUPIL = ("open_assignments", "clips_waiting", "last_returned_at")
LONGEST_NAME = 120  # letters, as a person may have


@require_safe
def pupils(request: HttpRequest) -> HttpResponse:
    people.teaching_studio(request.user)
    wanted = " ".join(request.GET.get("q", "").split())[:LONGEST_NAME]
    everybody = _Taught(request.user)
    found = _taught(request.user).filter(pupil__name__icontains=wanted) if wanted else everybody
    page = Paginator(found, PUPILS_SHOWN).get_page(request.GET.get("page"))
    places = access.counted(page.object_list, *SAID_OF_A_PUPIL)
    playing: dict[tuple[int, int], Instrument] = {}
    for one in _instruments(pupils=[place.pupil_id for place in places]):  # the newest first
        playing.setdefault((one.pupil_id, one.studio_id), one)
    for place in places:  # a pupil of two studios may play another instrument in each
        place.playing = playing.get((place.pupil_id, place.studio_id))
    context = {"places": places, "page": page, "wanted": wanted, "area": "teacher"}
    return render(request, "review/pupils.html", context)


@dataclass(frozen=True, slots=True)
class _Taught:
    """A teacher's pupils by name, to be shown page by page."""

    teacher: Person

    def count(self) -> int:
        return _how_many.first(person=self.teacher.pk) or 0

    def __getitem__(self, part: slice) -> list[Enrolment]:
        return _by_name(part.start, part.stop, person=self.teacher.pk)


def _taught(person: Person | Given) -> QuerySet[Enrolment]:
    return people.enrolments_taught_by(person).order_by("pupil__name", "pk")


_by_name = Prepared(lambda start, stop: _taught(PERSON)[start:stop])
_how_many = Prepared(
    lambda: (
        people.enrolments_taught_by(PERSON)
        .values(all=Value(1))
        .annotate(many=Count("pk"))
        .values_list("many", flat=True)
    )
)
_instruments = Prepared(
    lambda: Instrument.objects.filter(current(), IsOneOf("pupil", "pupils")).order_by(
        "-started_on", "-pk"
    )
)


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
    messages.success(
        request, _("Saved. %(pupil)s’s next clips are judged by it.") % {"pupil": enrolment.pupil}
    )
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
    messages.success(
        request,
        _("“%(version)s” is in %(pupil)s’s queue.")
        % {"version": version, "pupil": enrolment.pupil},
    )
    return redirect("pupil", pk=pk)


def _page(
    request: HttpRequest,
    enrolment: Enrolment,
    about: PupilForm | None = None,
    setting: SetDrillForm | None = None,
) -> HttpResponse:
    instrument = enrolment.instrument()
    sent = _newest(place=enrolment.pk)
    context = {
        "area": "teacher",
        "enrolment": enrolment,
        "instrument": instrument,
        "about": about or _about(enrolment, instrument),
        "setting": setting or SetDrillForm(request.user, enrolment.studio_id),
        "queue": _queue(place=enrolment.pk),
        "done": _done(place=enrolment.pk, now=timezone.now()),
        "places": [clip_states.of(clip) for clip in sent[:CLIPS_SHOWN]],
        "more_clips": len(sent) > CLIPS_SHOWN,
        "questions": _questions(place=enrolment.pk),
    }
    if enrolment.consented:
        context["term"] = practice.term_of(enrolment)
        context["practised"] = practice.in_short(enrolment)
    return render(request, "review/pupil.html", context, status=422 if about or setting else 200)


def _about(enrolment: Enrolment, instrument: Instrument | None) -> PupilForm:
    initial: dict = {"level": enrolment.level}
    if instrument is not None:
        length = figures.number(instrument.string_length_mm)
        initial |= {"kind": instrument.kind, "string_length_mm": length}
    return PupilForm(initial=initial)


_queue = Prepared(lambda: drills.set_for(PLACE))
_questions = Prepared(lambda: access.questions_of(PLACE)[:QUESTIONS_SHOWN])
_done = Prepared(lambda: drills.done_by(PLACE, NOW)[:DONE_SHOWN])


@Prepared
def _newest() -> QuerySet[Clip]:
    """As many clips as are shown, and one more where there is more."""
    return (
        clips.clips_of(PLACE)
        .filter(intake=Clip.Intake.RECEIVED)
        .select_related("review__answers__version", "review__returned", "uploaded_by")
        .defer(*drills.scores_of("review__answers__version"))[: CLIPS_SHOWN + 1]
    )

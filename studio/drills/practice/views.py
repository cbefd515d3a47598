"""Practice: one page for each place, on which it is noted and read; changing what one noted."""

from datetime import date

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from studio import figures
from studio.accounts import access as people
from studio.accounts.consent import ConsentMissing
from studio.accounts.models import Enrolment, Person
from studio.accounts.simple_reading import reads as reads_simply
from studio.drills import access as drills
from studio.drills.models import Assignment

from . import access, for_children, notifications, pages, services, weeks, wording
from .forms import PracticeForm
from .models import PracticeEntry
from .services import TooMany


@require_http_methods(["GET", "HEAD", "POST"])
def practice(request: HttpRequest, pk: int) -> HttpResponse:
    """The weeks of a place and its entries; at home the form for one more.

    A script says ``Accept: application/json`` and is answered so: 201 with where to go next, or
    a sentence. It names the person whose page it is (``X-Sender``), as uploads do.
    """
    if request.method == "POST":
        return _noted(request, access.noting_place(request.user, pk))
    place = people.get_or_404(people.enrolments_seen_by(request.user), pk)
    return _page(request, place)


@require_http_methods(["GET", "HEAD", "POST"])
def entry(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what one noted oneself."""
    found = access.own_entry(request.user, pk)
    place = found.enrolment
    simple = _simple(request.user, place)
    today = services.today_of(request.user)
    form = PracticeForm(place, request.POST or None, today=today, simple=simple, entry=found)
    if form.is_valid():
        services.change(found, form.said)
        messages.success(request, _("Changed."))
        return redirect(_after(found))
    context = {
        "area": _area(request.user, place),
        "enrolment": place,
        "entry": found,
        "form": form,
        "is_simple": simple,
    }
    return render(
        request, "drills/practice/entry.html", context, status=422 if form.errors else 200
    )


@require_POST
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back what one noted oneself."""
    found = access.own_entry(request.user, pk)
    services.remove(found)
    messages.success(request, _("Taken back: the entry of {day}.").format(day=_day(found)))
    return redirect("practice", pk=found.enrolment_id)


def _noted(request: HttpRequest, place: Enrolment) -> HttpResponse:
    in_json = "application/json" in request.headers.get("Accept", "")
    sender = request.headers.get("X-Sender", "")
    if sender and sender != str(request.user.pk):
        return JsonResponse({"sentence": _("Somebody else is logged in here now.")}, status=409)
    today, simple = services.today_of(request.user), _simple(request.user, place)
    form = PracticeForm(place, request.POST, today=today, simple=simple)
    try:
        found = _kept(form, place, request)
    except ConsentMissing as missing:
        if not in_json:
            raise
        return JsonResponse({"sentence": missing.sentence}, status=403)
    if found is None:
        if in_json:
            return JsonResponse({"sentence": _first_error(form)}, status=422)
        return _page(request, place, form)
    said = _("Noted: {minutes} min, {day}.").format(minutes=found.minutes, day=_day(found))
    if in_json:
        return JsonResponse({"sentence": said, "next": _after(found)}, status=201)
    messages.success(request, said)
    return redirect(_after(found))


def _kept(form: PracticeForm, place: Enrolment, request: HttpRequest) -> PracticeEntry | None:
    """The entry; none where the form refuses what was said, or the day is full."""
    if not form.is_valid():
        return None
    try:
        return services.note(place, request.user, form.said, form.cleaned_data["form_key"])
    except TooMany as many:
        form.add_error(None, str(many))
        return None


def _page(request: HttpRequest, place: Enrolment, form: PracticeForm | None = None) -> HttpResponse:
    person, area = request.user, _area(request.user, place)
    simple = area != wording.TEACHER and _simple(person, place)
    drill = _drill(request, place)
    context = {"area": area, "enrolment": place, "is_simple": simple, "drill": drill}
    context |= {"practice_words": for_children, "csrf_cookie": settings.CSRF_COOKIE_NAME}
    context["may_change"] = access.may_note(person, place)
    context["note"] = pages.noting(person, place, simple, form, drill)
    if access.shown_to(person, place):
        term = pages.term_of(place, _until(request))
        page = pages.entries_page(place, term, drill, request.GET.get("page"))
        context |= {"term": term, "page": page, "caution": _caution(request, place, area, simple)}
        context["earlier"], context["later"] = pages.other_weeks(place, term)
    return render(request, "drills/practice/practice.html", context, status=422 if form else 200)


def _caution(request: HttpRequest, place: Enrolment, area: str, simple: bool) -> list[str]:
    """What was just noted may bring the caution: said to whoever noted it."""
    number = figures.whole(request.GET.get("noted", ""))
    mine = PracticeEntry.objects.filter(pk=number or 0, made_by=request.user, enrolment=place)
    found = mine.select_related("enrolment__pupil").first()
    reasons = notifications.reasons_of(found) if found else ()
    return wording.caution(reasons, area, place, simple)


def _after(found: PracticeEntry) -> str:
    """Where it is seen that it was noted, with the caution where there is one."""
    return f"{reverse('practice', args=[found.enrolment_id])}?noted={found.pk}"


def _area(person: Person, place: Enrolment) -> str:
    if place.pupil_id == person.pk:
        return wording.PUPIL
    return wording.TEACHER if people.teaches(person, place) else wording.GUARDIAN


def _simple(person: Person, place: Enrolment) -> bool:
    return reads_simply(place, is_own=place.pupil_id == person.pk)


def _drill(request: HttpRequest, place: Enrolment) -> Assignment | None:
    """The drill that the address names; 404 where it is not this place's to see."""
    if not request.GET.get("drill"):
        return None
    found = drills.seen_assignment(request.user, figures.whole(request.GET["drill"]) or 0)
    if found.enrolment_id != place.pk:
        raise Http404
    return found


def _until(request: HttpRequest) -> date | None:
    """The day that the address names; none where that is no day, or the first weeks of all."""
    try:
        found = date.fromisoformat(request.GET.get("until", ""))
        weeks.first_day(found)
    except (ValueError, OverflowError):
        return None
    return found


def _first_error(form: PracticeForm) -> str:
    return " ".join(str(error) for errors in form.errors.values() for error in errors)


def _day(found: PracticeEntry) -> str:
    return figures.long_date(found.day)

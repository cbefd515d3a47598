"""A pupil's key rotation: the teacher's plan and its lessons; what pupil and guardian see of it."""

from collections.abc import Callable
from functools import wraps

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio import figures
from studio.accounts import access as people
from studio.accounts.models import Enrolment
from studio.accounts.names import listed

from . import access, pages, rounds, services, starts
from .forms import BeginForm, HolidayForm, ListsForm, ReadinessForm, RhythmForm, RoundForm
from .models import Rotation
from .plan import WAYS, Holiday
from .versioning import Changed

EVERY_KEY = "all"


@require_http_methods(["GET", "HEAD", "POST"])
def rotation(request: HttpRequest, pk: int) -> HttpResponse:
    """A pupil's plan; before there is one, the form that begins it."""
    enrolment = people.taught_enrolment(request.user, pk)
    found = access.rotation_of(enrolment)
    if found is not None and request.method != "POST":
        return pages.plan(request, found)
    start = starts.start_of(request.user, enrolment.studio)
    form = BeginForm(
        start,
        pages.known_intervals(enrolment.studio),
        request.POST if request.method == "POST" else None,
    )
    if form.is_valid():
        begun = form.start()
        services.begin(enrolment, request.user, **form.rhythm(), start=begun)
        if form.cleaned_data["keep"]:
            starts.keep(request.user, enrolment.studio, begun)
        messages.success(
            request, _("The plan is there. %(pupil)s can see it.") % {"pupil": enrolment.pupil}
        )
        return redirect("rotation", pk=pk)
    return pages.beginning(request, enrolment, form)


def _plan(pk: int, number: int | None) -> str:
    """The plan's address, with one round unfolded."""
    address = reverse("rotation", args=[pk])
    return address if number is None else f"{address}?round={number}"


def changes(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A change of a plan: reached through ``access``; 409 with the plan as it stands now when
    somebody else changed it first, and nothing done."""

    @wraps(view)
    def reached(request: HttpRequest, pk: int, **arguments) -> HttpResponse:
        found = access.taught_rotation(request.user, pk)
        try:
            answer = view(request, found, **arguments)
        except Changed:
            return pages.plan(request, access.taught_rotation(request.user, pk), changed=True)
        return answer or redirect(_plan(pk, arguments.get("number")))

    return require_POST(reached)


@changes
def rhythm(request: HttpRequest, found: Rotation) -> HttpResponse | None:
    form = RhythmForm(request.POST)
    if not form.is_valid():
        return pages.plan(request, found, rhythm=form)
    services.change_rhythm(found, request.user, **form.cleaned_data, seen=_seen(request))
    messages.success(request, _("The lessons are on their new days."))
    return None


@changes
def holiday(request: HttpRequest, found: Rotation) -> HttpResponse | None:
    """Add days without lessons."""
    form = HolidayForm(request.POST)
    if form.is_valid():
        try:
            span: Holiday = form.cleaned_data["span"]
            services.add_holiday(found, request.user, span, seen=_seen(request))
        except services.TooManyHolidays as error:
            form.add_error(None, f"{error}.".capitalize())
        else:
            messages.success(request, _("No lessons then. The keys move on; none is lost."))
            return None
    return pages.plan(request, found, holiday=form)


@changes
def holiday_end(request: HttpRequest, found: Rotation, holiday_pk: int) -> None:
    services.remove_holiday(
        found, request.user, access.taught_holiday(found, holiday_pk), seen=_seen(request)
    )
    messages.success(request, _("There are lessons on these days again."))


@changes
def round_settings(request: HttpRequest, found: Rotation, number: int) -> HttpResponse | None:
    one = access.taught_round(found, number)
    form = RoundForm.of(one, pages.shelf_settings(found), request.POST)
    if not form.is_valid():
        return pages.plan(request, found, round_form=(number, form))
    rounds.change_round(
        one,
        request.user,
        seen=_seen(request),
        settings=form.settings(),
        lessons=form.cleaned_data["lessons"],
    )
    messages.success(
        request,
        _("Round %(number)s is changed. What was set before stays as it was.") % {"number": number},
    )
    return None


@changes
def round_remove(request: HttpRequest, found: Rotation, number: int) -> HttpResponse:
    """Take a round out of the plan."""
    one = access.taught_round(found, number)
    try:
        rounds.remove_round(one, request.user, seen=_seen(request))
    except rounds.StaysInThePlan as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("Round %(number)s is out of the plan.") % {"number": number})
    return redirect("rotation", pk=found.enrolment_id)


@changes
def round_add(request: HttpRequest, found: Rotation) -> None:
    one = rounds.add_round(found, request.user, seen=_seen(request))
    messages.success(
        request, _("Round %(number)s stands at the end of the plan.") % {"number": one.number}
    )


@changes
def order(request: HttpRequest, found: Rotation, number: int) -> None:
    """The open lessons of a round in the order in which they were posted."""
    one = access.taught_round(found, number)
    sent = map(figures.whole, request.POST.getlist("lesson"))
    wished = [number for number in sent if number is not None]
    services.reorder(one, request.user, wished, seen=_seen(request))
    messages.success(request, _("Round %(number)s is in its new order.") % {"number": number})


@changes
def readiness(request: HttpRequest, found: Rotation) -> None:
    form = ReadinessForm(found, request.POST)
    if not form.is_valid():
        raise Changed  # a line that is not there any more
    services.tick_readiness(found, request.user, form.cleaned_data["ready"], seen=_seen(request))
    messages.success(request, "Saved.")


@changes
def lists(request: HttpRequest, found: Rotation) -> HttpResponse | None:
    """What is to be in order before double stops, and when a key counts as done."""
    form = ListsForm(found, request.POST)
    if not form.is_valid():
        return pages.plan(request, found, lists=form)
    services.change_lists(found, request.user, seen=_seen(request), **form.cleaned_data)
    messages.success(request, _("The lists are saved."))
    return None


@changes
def start(request: HttpRequest, found: Rotation) -> None:
    """Keep the lists of this plan for the teacher's next ones; the plan stays as it is."""
    starts.keep(request.user, found.enrolment.studio, starts.start_from(found))
    messages.success(request, _("Your next plans begin with these keys, rounds and lists."))


@changes
def move(request: HttpRequest, found: Rotation, lesson_pk: int) -> HttpResponse:
    """Move a lesson within its round."""
    lesson, way = access.taught_lesson(request.user, found.enrolment_id, lesson_pk), _way(request)
    services.move_lesson(lesson, request.user, way, seen=_seen(request))
    said = {"up": _("is earlier now"), "down": _("is later now"), "first": _("comes first now")}
    messages.success(request, f"{lesson} {said.get(way, _('comes last in its round now'))}.")
    return redirect(_plan(found.enrolment_id, lesson.round.number))


@require_safe
def lesson(request: HttpRequest, pk: int, lesson_pk: int) -> HttpResponse:
    """A lesson: its keys to warm up with and tick off, its drills to set."""
    return pages.lesson(request, access.taught_lesson(request.user, pk, lesson_pk))


@require_POST
def tick(request: HttpRequest, pk: int, lesson_pk: int) -> HttpResponse:
    """Tick a key off, or all of them; open it again when ``open`` is posted."""
    found = access.taught_lesson(request.user, pk, lesson_pk)
    wanted = request.POST.get("key")
    keys = [one for one in found.planned if wanted in (one.name, EVERY_KEY)]
    if not keys:
        raise Http404
    done = "open" not in request.POST
    services.tick_keys(found, request.user, [one.name for one in keys], done)
    are = "are" if len(keys) > 1 else "is"
    state = _("ticked off") if done else _("open again")
    messages.success(request, f"{listed(one.key.name for one in keys)} {are} {state}.")
    return redirect("rotation_lesson", pk=pk, lesson_pk=lesson_pk)


@require_POST
def set_drills(request: HttpRequest, pk: int, lesson_pk: int) -> HttpResponse:
    """Put the chosen drills of a lesson into the pupil's queue."""
    found = access.taught_lesson(request.user, pk, lesson_pk)
    form, chosen = pages.setting(request, found)
    if not form.is_valid() or not chosen:
        return pages.lesson(request, found, form=form, none_chosen=not chosen)
    made = services.set_drills(found, request.user, chosen, **form.cleaned_data)
    pupil = found.round.rotation.enrolment.pupil
    if made:
        drills = (
            _("1 drill is") if len(made) == 1 else _("%(made)s drills are") % {"made": len(made)}
        )
        messages.success(request, f"{drills} in {pupil}’s queue.")
    else:
        messages.success(request, _("These were in %(pupil)s’s queue already.") % {"pupil": pupil})
    if request.POST.get("back") == "plan":
        return redirect("rotation", pk=pk)
    return redirect("rotation_lesson", pk=pk, lesson_pk=lesson_pk)


@require_safe
def own_keys(request: HttpRequest) -> HttpResponse:
    """The pupil's own plan, to read."""
    return _home(request, people.own_enrolment(request.user), "pupil")


@require_safe
def child_keys(request: HttpRequest, pk: int) -> HttpResponse:
    """The same for a guardian."""
    return _home(request, people.guarded_enrolment(request.user, pk), "guardian")


def _home(request: HttpRequest, enrolment: Enrolment, area: str) -> HttpResponse:
    back = reverse("child", args=[enrolment.pk]) if area == "guardian" else reverse("queue")
    context = {"area": area, "enrolment": enrolment, "back": back}
    found = access.rotation_of(enrolment)
    if found is not None:
        context["plan"] = pages.overview_of(found)
    return render(request, "drills/rotation_home.html", context)


def _seen(request: HttpRequest) -> int:
    """The version of the plan that the page showed; one that no plan has for anything else."""
    return figures.whole(request.POST.get("version")) or 0


def _way(request: HttpRequest) -> str:
    way = request.POST.get("way", "")
    if way not in WAYS:
        raise Http404
    return way

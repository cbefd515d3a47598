"""The shelf and what is done with a drill on it, for teachers; ticking off, for pupils."""

from django.contrib import messages
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio import figures
from studio.accounts import access as people
from studio.accounts.models import Person
from studio.intonation.wording.for_children import DONE
from studio.notation import Request
from studio.notation.tones import hearing
from studio.web.paths import own_path

from . import access, services
from .form_values import query_of
from .forms import SetForForm, ShelfDrillForm, ShelfSettingsForm
from .models import Assignment, Drill, Favourite
from .sheets import kept_sheet
from .shelf import shelf as shelf_page
from .stretches import player_of, stretches


@require_safe
def shelf(request: HttpRequest) -> HttpResponse:
    studio = people.teaching_studio(request.user)
    context = {"shelf": shelf_page(request.user, studio, request.GET), "area": "teacher"}
    part = "drills/shelf_found.html" if request.htmx else "drills/shelf.html"
    response = render(request, part, context)
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_http_methods(["GET", "HEAD", "POST"])
def order(request: HttpRequest) -> HttpResponse:
    """The order of the intervals and the usual instrument of the teacher's studio."""
    studio = people.teaching_studio(request.user)
    form = ShelfSettingsForm(request.POST or None, instance=access.settings_of(studio))
    if form.is_valid():
        form.save()
        messages.success(request, _("Saved. The shelf is in this order now."))
        return redirect("shelf")
    return _render(request, "drills/order.html", form)


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """A drill in words."""
    studio = people.teaching_studio(request.user)
    form = ShelfDrillForm(request.POST or None)
    if form.is_valid():
        drill = services.add_drill_once(studio, request.user, **form.cleaned_data)
        messages.success(request, _("“%(drill)s” is on the shelf.") % {"drill": drill})
        return redirect("shelf")
    return _render(request, "drills/words.html", form)


@require_safe
def drill(request: HttpRequest, pk: int) -> HttpResponse:
    return _page(request, access.drill_for(request.user, pk))


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what a drill says; what was set before keeps the words it was set with."""
    drill = access.drill_for(request.user, pk)
    form = ShelfDrillForm.of(drill.newest(), request.POST or None)
    if form.is_valid():
        version = services.edit_drill(drill, **form.cleaned_data)
        messages.success(request, _("“%(version)s” is saved.") % {"version": version})
        return redirect("drill", pk=pk)
    return _render(request, "drills/words.html", form, drill=drill)


@require_POST
def copy(request: HttpRequest, pk: int) -> HttpResponse:
    made = services.copy_drill(access.drill_for(request.user, pk), request.user)
    messages.success(request, _("This is the copy. Change what you like; the first one stays."))
    return redirect("drill_edit", pk=made.pk)


@require_POST
def favourite(request: HttpRequest, pk: int) -> HttpResponse:
    """A favourite, or no longer one when ``drop`` is posted."""
    drill = access.drill_for(request.user, pk)
    services.keep_at_hand(drill, request.user, "drop" not in request.POST)
    if request.htmx:
        kept = Favourite.objects.filter(drill=drill, person=request.user).exists()
        context = {"pk": drill.pk, "favourite": kept, "title": str(drill)}
        return render(request, "drills/favourite.html", context)
    return redirect(_back(request, reverse("drill", args=[pk])))


@require_POST
def set_for(request: HttpRequest, pk: int) -> HttpResponse:
    """Set the drill for a pupil: it stands in the queue at once."""
    drill = access.drill_for(request.user, pk)
    form = SetForForm(request.user, drill, request.POST)
    if not form.is_valid():
        return _page(request, drill, setting=form)
    enrolment, version = form.cleaned_data["pupil"], drill.newest()
    if not form.look_at(version, enrolment):
        return _page(request, drill, setting=form)
    services.set_drill_now(version, enrolment, request.user, **form.goals())
    messages.success(
        request,
        _("“%(drill)s” is in %(pupil)s’s queue.") % {"drill": drill, "pupil": enrolment.pupil},
    )
    return redirect("drill", pk=pk)


@require_POST
def archive(request: HttpRequest, pk: int) -> HttpResponse:
    drill = access.drill_for(request.user, pk)
    services.archive_drill(drill)
    messages.success(
        request,
        _("“%(drill)s” is off the shelf. Where it was set, it stays set.") % {"drill": drill},
    )
    return redirect("shelf")


@require_POST
def tick_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Done, or open again when ``open`` is posted."""
    assignment = access.home_assignment(request.user, pk)
    done = "open" not in request.POST
    services.tick_off(assignment, done)
    said = (
        _ticked(assignment, request.user)
        if done
        else _("“%(version)s” is open.") % {"version": assignment.version}
    )
    messages.success(request, said)
    return redirect(_back(request, reverse("home")))


def _ticked(assignment: Assignment, by: Person) -> str:
    """What is said when a drill is done: to a child who reads simply, in her words."""
    place = assignment.enrolment
    if place.reads_simply and by.pk == place.pupil_id:
        return DONE
    return _("“%(version)s” is ticked off.") % {"version": assignment.version}


def _back(request: HttpRequest, otherwise: str) -> str:
    """Where the page asked to return to, on this host."""
    return own_path(request.POST.get("next", ""), otherwise)


def _page(request: HttpRequest, drill: Drill, setting: SetForForm | None = None) -> HttpResponse:
    """A drill as it is now: its page, its versions, and setting it for a pupil."""
    versions = list(drill.versions.annotate(times_set=Count("assignments")).order_by("-number"))
    version = versions[0]
    score = version.page
    form = setting or SetForForm(request.user, drill, initial={"pupil": request.GET.get("for")})
    context = {
        "area": "teacher",
        "drill": drill,
        "version": version,
        "versions": versions,
        "favourite": Favourite.objects.filter(drill=drill, person=request.user).exists(),
        "setting": form,
    }
    if version.request:
        context["variant"] = query_of(Request.from_dict(version.request))
    if score is not None:
        chosen = form.fields["pupil"].queryset.filter(pk=_whole(form["pupil"].value())).first()
        player = player_of(chosen, score.instrument)
        if chosen is not None and not form.is_bound:
            form.look_at(version, chosen)
        context |= {
            "sheet": kept_sheet(score, request.GET.get("page")),
            "stretches": stretches(score, player),
            "player": player,
            "player_is": chosen,
            "hearing": hearing(score, tuning=drill.studio.tuning, a4_hz=drill.studio.a4_hz),
        }
    return render(request, "drills/drill.html", context, status=422 if setting else 200)


def _whole(text) -> int:
    """A row's number, or one that no row has."""
    return figures.whole(text) or 0


def _render(request: HttpRequest, template: str, form, **more) -> HttpResponse:
    context = {"form": form, "area": "teacher", **more}
    return render(request, template, context, status=422 if form.is_bound else 200)

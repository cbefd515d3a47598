"""The shelf of drills, for teachers; ticking off, for pupils."""

from django.contrib import messages
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio.accounts import access as people

from . import access, services
from .forms import DrillForm


@require_safe
def shelf(request: HttpRequest) -> HttpResponse:
    people.teaching_studio(request.user)
    drills = access.shelf_of(request.user).annotate(times_set=Count("versions__assignments"))
    return render(request, "drills/shelf.html", {"drills": drills, "area": "teacher"})


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    studio = people.teaching_studio(request.user)
    form = DrillForm(request.POST or None)
    if form.is_valid():
        drill = services.add_drill(studio, request.user, **form.cleaned_data)
        messages.success(request, f"“{drill}” is on the shelf.")
        return redirect("shelf")
    return _form(request, form)


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what a drill says; what was set before keeps the words it was set with."""
    drill = access.drill_for(request.user, pk)
    form = DrillForm.of(drill.newest(), request.POST or None)
    if form.is_valid():
        version = services.edit_drill(drill, **form.cleaned_data)
        messages.success(request, f"“{version}” is saved.")
        return redirect("shelf")
    versions = drill.versions.annotate(times_set=Count("assignments")).order_by("-number")
    return _form(request, form, drill=drill, versions=versions)


@require_POST
def archive(request: HttpRequest, pk: int) -> HttpResponse:
    drill = access.drill_for(request.user, pk)
    services.archive_drill(drill)
    messages.success(request, f"“{drill}” is off the shelf. Where it was set, it stays set.")
    return redirect("shelf")


@require_POST
def tick_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Done, or open again when ``open`` is posted."""
    assignment = access.home_assignment(request.user, pk)
    done = "open" not in request.POST
    services.tick_off(assignment, done)
    messages.success(
        request,
        f"“{assignment.version}” is ticked off." if done else f"“{assignment.version}” is open.",
    )
    back = request.POST.get("next", "")
    if not url_has_allowed_host_and_scheme(back, allowed_hosts=None):
        back = reverse("home")
    return redirect(back)


def _form(request: HttpRequest, form: DrillForm, **more) -> HttpResponse:
    status = 422 if form.is_bound else 200
    context = {"form": form, "area": "teacher", **more}
    return render(request, "drills/drill.html", context, status=status)

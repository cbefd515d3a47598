"""A file of music: chosen, read by a worker, looked at, kept."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.cache import patch_vary_headers
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from studio.accounts import access as people
from studio.drills import services
from studio.drills.importing import FileForm, KeepForm
from studio.drills.models import DrillVersion
from studio.drills.sheets import Screen, Sheet

from . import services as readings
from .models import ScoreReading


@require_http_methods(["GET", "HEAD", "POST"])
def import_file(request: HttpRequest) -> HttpResponse:
    """Choose a file of music; a worker reads it."""
    studio = people.teaching_studio(request.user)
    form = FileForm(request.POST or None, request.FILES or None)
    if form.is_valid():
        content = form.cleaned_data["file"].read()
        said = (form.filename, content, form.cleaned_data["instrument"])
        return redirect("drill_reading", readings.begin(studio, request.user, *said))
    context = {"form": form, "area": "teacher"}
    return render(request, "drills/import.html", context, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def reading(request: HttpRequest, reading_id: UUID) -> HttpResponse:
    """Where the reading is; what was read, to be put on the shelf."""
    studios = people.studios_of(request.user, people.Role.TEACHER)
    found = people.get_or_404(readings.of(request.user, studios), reading_id)
    context: dict = {"reading": found, "area": "teacher", "failure": readings.failure(found)}
    status = 200
    if found.state == ScoreReading.State.READ:
        if "part" in request.POST:
            said = (found.filename, bytes(found.content), found.instrument)
            part = request.POST["part"][:64]
            again = readings.begin(found.studio, request.user, *said, part)
            return redirect("drill_reading", again)
        form = KeepForm(request.POST) if request.method == "POST" else None
        if form is not None and form.is_valid():
            score = form.of_score(found.result["score"])
            if score is not None:
                return _keep(request, found, form, score)
        status = 200 if form is None else 422
        context["keep"] = form or KeepForm.of(found.result["title"], found.result["key"])
        context["sheet"] = _sheet(found.result["sheet"])
    part = "drills/reading_part.html" if request.htmx else "drills/reading.html"
    response = render(request, part, context, status=status)
    patch_vary_headers(response, ["HX-Request"])
    return response


def _keep(request: HttpRequest, found: ScoreReading, form: KeepForm, score: dict) -> HttpResponse:
    said = form.says() | {"source": DrillVersion.Source.IMPORTED}
    said["level"] = said.get("level") or found.result["level"]
    said |= {"score": score, "instrument": score["instrument"]}
    if score == found.result["score"]:  # all of it: its beginning is drawn already
        said["incipit"] = found.result["incipit"]
    drill = services.add_drill_once(found.studio, request.user, **said)
    # By the title that was typed: the drill itself would read its whole score for it.
    messages.success(request, _("“%(said)s” is on the shelf.") % {"said": said["title"]})
    return redirect("drill", pk=drill.pk)


def _sheet(plain: dict) -> Sheet:
    """The leaf as the worker engraved it: our engraver's own markup, with words escaped."""
    screens = tuple(Screen(each["layout"], mark_safe(each["svg"])) for each in plain["screens"])
    bars = (plain["first_bar"], plain["last_bar"])
    return Sheet(1, plain["count"], *bars, screens)

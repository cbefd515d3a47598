"""Making drills to order, from files, and changing the fingers of their pages; for teachers."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from studio.accounts import access as people
from studio.notation import Infeasible, generate
from studio.notation.fingering_choices import fingering_choices

from . import access, services
from .fingers import read_rows, rows_of, strings_of
from .making import MakeForm
from .saying import saying_of
from .sheets import leaf_number, leaves, sheet_of
from .stretches import stretches


@require_http_methods(["GET", "HEAD", "POST"])
def make(request: HttpRequest) -> HttpResponse:
    """Ask for a drill and see it at once; posted, it goes on the shelf."""
    studio = people.teaching_studio(request.user)
    form = MakeForm(request.user, studio, request.POST or request.GET)
    context: dict = {"form": form, "area": "teacher"}
    if form.is_valid():
        asked = form.request()
        try:
            score = generate(asked)
        except Infeasible as error:
            context |= {"reason": error.reason, "nearest": error.nearest}
            if error.nearest is not None:
                context["nearest_query"] = form.query_of(error.nearest)
                context["nearest_title"] = generate(error.nearest).title
        else:
            if request.method == "POST":
                return _keep_made(request, studio, form, asked, score)
            player = form.player()
            context |= {
                "score": score,
                "saying": saying_of(asked, score),
                "sheet": sheet_of(score),
                "stretches": stretches(score, player),
                "player": player,
                "fingerings": fingering_choices(asked),
                "fingering": asked.fingering,
            }
    part = "drills/preview.html" if request.htmx else "drills/make.html"
    response = render(request, part, context, status=422 if request.method == "POST" else 200)
    patch_vary_headers(response, ["HX-Request"])
    return response


def _keep_made(request, studio, form, asked, score) -> HttpResponse:
    said = form.cleaned_data
    own = {name: said[name] for name in ("title", "words", "level", "tags")}
    drill = services.add_made(studio, request.user, asked, score, **own)
    messages.success(request, _("“%(drill)s” is on the shelf.") % {"drill": drill})
    chosen = f"?for={said['pupil'].pk}" if said["pupil"] else ""
    return redirect(reverse("drill", args=[drill.pk]) + chosen)


@require_http_methods(["GET", "HEAD", "POST"])
def fingers(request: HttpRequest, pk: int) -> HttpResponse:
    """Strings, fingers, holds and playings of one leaf of a drill's page, in a table."""
    drill = access.drill_for(request.user, pk)
    score = drill.newest().page
    if score is None:
        messages.success(
            request,
            _("“%(drill)s” has no page with notes, so it has no fingers.") % {"drill": drill},
        )
        return redirect("drill", pk=pk)
    cut = leaves(score)
    number = leaf_number(request.GET.get("page"), len(cut))
    leaf, data, errors = cut[number - 1], None, {}
    if request.method == "POST":
        reading = read_rows(score, leaf, request.POST)
        if not reading.errors:
            services.edit_drill(drill, score=reading.score.to_dict())
            messages.success(request, _("The fingers are saved."))
            return redirect(f"{reverse('drill', args=[pk])}?page={number}")
        data, errors = request.POST, reading.errors
    context = {
        "area": "teacher",
        "drill": drill,
        "rows": rows_of(leaf, data, errors),
        "errors": errors,
        "strings": strings_of(score),
        "finger_choices": ["", "0", "1", "2", "3", "4"],
        "sheet": sheet_of(score, str(number)),
    }
    return render(request, "drills/fingers.html", context, status=422 if errors else 200)

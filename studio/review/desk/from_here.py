"""Drills from here: from a mark, a bar or a span to drills that treat it, seen before they are set.

``GET /clips/<uuid>/drills/from-here/?mark=…`` (or ``?bar=…``, or ``?start_s=…&end_s=…``) shows what
is proposed there; without a place it asks for one. ``POST`` to the same address sets one: ``drill``
of the shelf, or what is ``made`` by the query string of the form to make drills. What was seen is
what is set, whatever is judged anew meanwhile; pressed twice, it is set once.
"""

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from studio.accounts.models import Person
from studio.drills import services as shelf
from studio.drills.making import MakeForm
from studio.drills.models import DrillVersion
from studio.notation import Infeasible, generate
from studio.review import services
from studio.review.models import Review

from .drills import done
from .exchanges import back, on_desk, wants_parts
from .here_page import HerePage, SetHereForm

PAGE, PANEL = "review/from_here.html", "review/from_here_panel.html"


@require_http_methods(["GET", "HEAD", "POST"])
@on_desk
def from_here(request: HttpRequest, review: Review) -> HttpResponse:
    """What is proposed at a place of the clip; posted, one of it is set with this clip."""
    if review.state == Review.State.RETURNED:
        return back(review.clip_id)
    page = HerePage(request.user, review, request.GET)
    if request.method == "POST":
        return _set(request, review, page)
    refused = page.form.is_bound and not page.form.is_valid()
    return _show(request, page.context(request.GET.get("hear", "")), 422 if refused else 200)


def _set(request: HttpRequest, review: Review, page: HerePage) -> HttpResponse:
    form = SetHereForm(request.POST, shelf=page.shelf, name="refused")
    version = _version(request.user, review, form) if form.is_valid() else None
    if version is None or not form.look_at(version, review.clip.enrolment):
        return _show(request, page.context(refused=form), 422)
    services.set_drill_here(review, version, request.user, **form.goals())
    return done(request, review, f"“{version.title}” is set with this clip.")


def _version(teacher: Person, review: Review, form: SetHereForm) -> DrillVersion | None:
    """The shelf's drill, or the one that is made; ``None``, and said, where neither can be."""
    if form.cleaned_data["drill"]:
        return form.cleaned_data["drill"].newest()
    studio, made = review.clip.enrolment.studio, QueryDict(form.cleaned_data["made"])
    making = MakeForm(teacher, studio, made)
    if "pattern" not in made or not making.is_valid():
        form.add_error(None, "Nothing was chosen to be set. Choose one of the drills below.")
        return None
    asked = making.request()
    try:
        score = generate(asked)
    except Infeasible as error:
        form.add_error(None, error.reason)
        return None
    return (
        shelf.made_before(studio, asked) or shelf.add_made(studio, teacher, asked, score).newest()
    )


def _show(request: HttpRequest, context: dict, status: int) -> HttpResponse:
    template = PANEL if wants_parts(request) else PAGE
    return render(request, template, context, status=status)

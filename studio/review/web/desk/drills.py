"""Setting drills with a clip: from the shelf, written on the spot, or for a place of the clip.

``GET /clips/<uuid>/drills/from-here/?mark=…`` (or ``?bar=…``, or ``?start_s=…&end_s=…``) shows what
is proposed for a mark, a bar or a span; without a place it asks for one. ``POST`` to the same
address sets one: ``drill`` of the shelf, or what is ``made`` by the query string of the form to
make drills. What was seen is what is set, whatever is judged anew meanwhile; pressed twice, it is
set once.
"""

from django.db import transaction
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from studio.accounts.models import Person
from studio.drills import access as drills
from studio.drills import services as shelf
from studio.drills.access import taught_assignment
from studio.drills.making import MakeForm
from studio.drills.models import DrillVersion
from studio.drills.services import add_drill
from studio.notation import Infeasible, generate
from studio.review.models import Review
from studio.review.returning import services

from . import exchanges
from .exchanges import back, on_desk, parts, wants_parts, whole_page
from .forms import NewDrillForm, SetDrillForm
from .page import Desk
from .prescription import PrescribeForm, PrescriptionPage


@require_POST
@on_desk
def set_from_shelf(request: HttpRequest, review: Review) -> HttpResponse:
    """Set a drill of the shelf; the same one again changes its due date and goal."""
    shelf = drills.titles_on_shelf(request.user).filter(studio=review.clip.enrolment.studio)
    form = SetDrillForm(request.POST, name="set", shelf=shelf)
    if not form.is_valid():
        return _again(request, review, set_form=form)
    version = form.cleaned_data["drill"].newest()
    if not form.look_at(version, review.clip.enrolment):
        return _again(request, review, set_form=form)
    services.set_drill_with_clip(review, version, request.user, **form.goals())
    return done(
        request, review, _("“%(version)s” is set with this clip.") % {"version": version.title}
    )


@require_POST
@on_desk
def set_new(request: HttpRequest, review: Review) -> HttpResponse:
    """Write a drill, put it on the shelf and set it. Pressed twice, it is one drill."""
    form = NewDrillForm(request.POST, name="drill")
    if not form.is_valid():
        return _again(request, review, new_form=form, writing=True)
    says = form.says()
    same = review.drills_set.filter(**{f"version__{name}": value for name, value in says.items()})
    if not same.exists():
        with transaction.atomic():
            drill = add_drill(review.clip.enrolment.studio, request.user, **says)
            services.set_drill_with_clip(review, drill.newest(), request.user, **form.goals())
    return done(
        request,
        review,
        _("“%(says)s” is on the shelf and set with this clip.") % {"says": says["title"]},
    )


@require_POST
@on_desk
def take_back(request: HttpRequest, review: Review, assignment_id: int) -> HttpResponse:
    assignment = taught_assignment(request.user, assignment_id)
    services.unset_drill_with_clip(review, assignment)
    return done(
        request,
        review,
        _("“%(version)s” is no longer set with this clip.") % {"version": assignment.version.title},
    )


def done(request: HttpRequest, review: Review, said: str) -> HttpResponse:
    if not wants_parts(request):
        return back(review.clip_id, "drills")
    page = Desk(request.user, review)
    return parts(request, (exchanges.DRILLS, page.part(**page.closing())), said=said)


def _again(request: HttpRequest, review: Review, **forms) -> HttpResponse:
    page = Desk(request.user, review)
    if not wants_parts(request):
        return whole_page(request, page, status=422, **forms)
    part = (exchanges.DRILLS, page.part(**page.closing(**forms)))
    return parts(request, part, said=_("The drill is not set yet."), status=422)


PAGE, PANEL = "review/from_here.html", "review/from_here_panel.html"


@require_http_methods(["GET", "HEAD", "POST"])
@on_desk
def from_here(request: HttpRequest, review: Review) -> HttpResponse:
    """What is proposed at a place of the clip; posted, one of it is set with this clip."""
    if review.state == Review.State.RETURNED:
        return back(review.clip_id)
    page = PrescriptionPage(request.user, review, request.GET)
    if request.method == "POST":
        return _set(request, review, page)
    refused = page.form.is_bound and not page.form.is_valid()
    return _show(request, page.context(request.GET.get("hear", "")), 422 if refused else 200)


def _set(request: HttpRequest, review: Review, page: PrescriptionPage) -> HttpResponse:
    form = PrescribeForm(request.POST, shelf=page.shelf, name="refused")
    version = _version(request.user, review, form) if form.is_valid() else None
    if version is None or not form.look_at(version, review.clip.enrolment):
        return _show(request, page.context(refused=form), 422)
    services.set_drill_with_clip(review, version, request.user, **form.goals())
    return done(
        request, review, _("“%(version)s” is set with this clip.") % {"version": version.title}
    )


def _version(teacher: Person, review: Review, form: PrescribeForm) -> DrillVersion | None:
    """The shelf's drill, or the one that is made; ``None``, and said, where neither can be."""
    if form.cleaned_data["drill"]:
        return form.cleaned_data["drill"].newest()
    studio, made = review.clip.enrolment.studio, QueryDict(form.cleaned_data["made"])
    making = MakeForm(teacher, studio, made)
    if "pattern" not in made or not making.is_valid():
        form.add_error(None, _("Nothing was chosen to be set. Choose one of the drills below."))
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

"""Setting drills with a clip: from the shelf, or written on the spot; and taking them back."""

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_POST

from studio.drills import access as drills
from studio.drills.access import taught_assignment
from studio.drills.services import add_drill
from studio.review import services
from studio.review.models import Review

from . import exchanges
from .exchanges import back, on_desk, parts, wants_parts, whole_page
from .forms import NewDrillForm, SetDrillForm
from .page import Desk


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
    services.set_drill_here(review, version, request.user, **form.goals())
    return done(request, review, f"“{version.title}” is set with this clip.")


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
            services.set_drill_here(review, drill.newest(), request.user, **form.goals())
    return done(request, review, f"“{says['title']}” is on the shelf and set with this clip.")


@require_POST
@on_desk
def take_back(request: HttpRequest, review: Review, assignment_id: int) -> HttpResponse:
    assignment = taught_assignment(request.user, assignment_id)
    services.unset_drill_here(review, assignment)
    return done(request, review, f"“{assignment.version.title}” is no longer set with this clip.")


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
    return parts(request, part, said="The drill is not set yet.", status=422)

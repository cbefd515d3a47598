"""Pages on which pupils go to another teacher, a teacher leaves, and the studio changes hands."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from studio import figures
from studio.translating import gettext_lazy

from . import access, handing_over
from .ended_already import says_that_it_ended
from .handing_over_forms import HeirsForm, OwnerForm
from .models import Membership
from .reauthentication import asks_again

READ_OR_DO = require_http_methods(["GET", "HEAD", "POST"])


@READ_OR_DO
def hand_over(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a teacher's pupils to colleagues: one's own, or, as the owner, anybody's."""
    membership = access.lessons_handed_over_by(request.user, pk)
    form = HeirsForm(membership, _posted(request))
    if request.method == "POST" and form.is_valid():
        changed = handing_over.hand_over(form.places, form.heirs(), by=request.user)
        messages.success(request, _handed_over(changed))
        return redirect("people")
    context = {"membership": membership, "form": form, "area": "teacher"}
    status = 422 if request.method == "POST" else 200
    return render(request, "accounts/pupils_hand_over.html", context, status=status)


@READ_OR_DO
@says_that_it_ended(
    Membership, gettext_lazy("{row.person} has left already, on {on}."), role=access.Role.TEACHER
)
@asks_again
def end_membership(request: HttpRequest, pk: int) -> HttpResponse:
    """The owner ends a colleague's place in the studio, and hands her pupils over."""
    membership = access.colleague_membership(request.user, pk)
    return _leave(
        request,
        membership,
        _("%(person)s has left %(studio)s.")
        % {"person": membership.person, "studio": membership.studio},
    )


@READ_OR_DO
@asks_again
def leave(request: HttpRequest) -> HttpResponse:
    """A teacher leaves the studio herself; its owner hands it over first, or closes it."""
    membership = access.own_membership(request.user)
    if membership.is_owner:
        context = {"membership": membership, "others": handing_over.others_in(membership)}
        context["area"] = "teacher"
        status = 409 if request.method == "POST" else 200
        return render(request, "accounts/owner_leaves.html", context, status=status)
    return _leave(
        request, membership, _("You have left %(studio)s.") % {"studio": membership.studio}
    )


def _leave(request: HttpRequest, membership: Membership, then: str) -> HttpResponse:
    form = HeirsForm(membership, _posted(request), everybody=True)
    context = {"membership": membership, "form": form, "area": "teacher"}
    context["own"] = membership.person_id == request.user.pk
    if request.method != "POST":
        return render(request, "accounts/membership_end.html", context)
    if form.places and not form.is_valid():
        return render(request, "accounts/membership_end.html", context, status=422)
    try:
        heirs = form.heirs() if form.places else {}
        handing_over.end_membership(membership, heirs, by=request.user)
    except handing_over.StillNeeded as why:  # somebody came in between
        messages.warning(request, str(why))
        return redirect(request.path)
    messages.success(request, _("%(then)s Nothing was deleted.") % {"then": then})
    return redirect("home" if context["own"] else "people")


@READ_OR_DO
@asks_again
def owner(request: HttpRequest) -> HttpResponse:
    """The owner hands the studio over to a colleague."""
    membership = _owned(request)
    form = OwnerForm(membership, _posted(request))
    if request.method == "POST" and form.is_valid():
        heir = access.teachers_in([membership.studio]).get(person=form.cleaned_data["owner"])
        handing_over.make_owner(heir, by=request.user)
        messages.success(
            request,
            _("%(person)s owns %(studio)s from now on.")
            % {"person": heir.person, "studio": membership.studio},
        )
        return redirect("people")
    context = {"membership": membership, "form": form, "area": "teacher"}
    status = 422 if request.method == "POST" else 200
    return render(request, "accounts/owner.html", context, status=status)


@READ_OR_DO
@asks_again
def close(request: HttpRequest) -> HttpResponse:
    """The only teacher stops: the studio closes."""
    membership = _owned(request)
    studio = membership.studio
    if handing_over.others_in(membership):
        return redirect("membership_leave")
    if request.method == "POST":
        ended = handing_over.close(studio, by=request.user)
        told = _(" The families of %(ended)s are told.") % {
            "ended": figures.count(ended, "pupil", "pupils")
        }
        messages.success(
            request,
            _("%(studio)s is closed.%(told)s") % {"studio": studio, "told": told if ended else ""},
        )
        return redirect("home")
    places = access.places_in(studio).order_by("pupil__name", "pk")
    context = {"studio": studio, "places": places, "area": "teacher"}
    return render(request, "accounts/studio_close.html", context)


def _posted(request: HttpRequest) -> QueryDict | None:
    return request.POST if request.method == "POST" else None


def _owned(request: HttpRequest) -> Membership:
    """As what one owns the studio that one works in, or 404."""
    membership = access.own_membership(request.user)
    if not membership.is_owner:
        raise Http404
    return membership


def _handed_over(changed: int) -> str:
    if not changed:
        return _("Nobody was handed over.")
    return _("%(changed)s handed over. The families are told.") % {
        "changed": figures.count(changed, "pupil", "pupils")
    }

"""The page of an invitation: what is offered, and taking it, for oneself or for one's child."""

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from studio.headers import opens_a_door

from . import access, families, invitations
from .family_views import BACKEND, invitation_of_family
from .forms import AcceptForm
from .models import Invitation, Person


@login_not_required
@opens_a_door
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def invitation(request: HttpRequest, secret: str) -> HttpResponse:
    """What is offered (GET); taking it (POST), as a new person or as who has the address."""
    try:
        offered = invitations.by_secret(secret)
        if families.is_family(offered):
            return invitation_of_family(request, offered)
        return _invitation(request, offered)
    except invitations.NoLongerOpen:
        return render(request, "accounts/invitation_gone.html", status=404)


def _invitation(request: HttpRequest, offered: Invitation) -> HttpResponse:
    account = invitations.account_of(offered)
    if request.method != "POST":
        return _offer(request, offered, account, AcceptForm(offered))
    if account is not None:
        if request.user not in invitations.who_may_accept(offered, account):
            return _offer(request, offered, account, AcceptForm(offered), status=403)
        if request.user != account:
            return _accept_for(request, offered, account)
        invitations.accept(offered, person=account)
        messages.success(
            request,
            _("You are now %(get_role_display)s at %(studio)s.")
            % {"get_role_display": offered.get_role_display(), "studio": offered.studio},
        )
        return redirect("home")
    form = AcceptForm(offered, request.POST)
    if not form.is_valid():
        return _offer(request, offered, account, form, status=422)
    person = invitations.accept(offered, form.cleaned_data["name"], form.cleaned_data["password"])
    login(request, person, backend=BACKEND)
    messages.success(request, _("Welcome to %(studio)s.") % {"studio": offered.studio})
    return redirect("home")


def _accept_for(request: HttpRequest, offered: Invitation, child: Person) -> HttpResponse:
    """A guardian takes one more place for her child; consent is asked on the next page."""
    invitations.accept_for(offered, child, request.user)
    place = access.enrolments_guarded_by(request.user).get(pupil=child, studio=offered.studio)
    messages.success(
        request,
        _("%(child)s has a place at %(studio)s. Clips can be sent once you agree here.")
        % {"child": child, "studio": offered.studio},
    )
    return redirect("consent", pk=place.pk)


def _offer(
    request: HttpRequest, offered: Invitation, account, form: AcceptForm, status: int = 200
) -> HttpResponse:
    context = {
        "offered": offered,
        "account": account,
        **_who_accepts(request, offered, account),
        "form": form,
        "path": request.path,
    }
    return render(request, "accounts/invitation.html", context, status=status)


def _who_accepts(request: HttpRequest, offered: Invitation, account: Person | None) -> dict:
    """Whether the button is for who is logged in; only the child is told who answers for her."""
    if account is None:
        return {"here": False}
    may = invitations.who_may_accept(offered, account)
    guardian_accepts = invitations.needs_guardian(offered, account)
    return {
        "here": request.user in may,
        "for_child": request.user != account,
        "ask": guardian_accepts and request.user == account,
        "guardians": " or ".join(person.name for person in may),
    }

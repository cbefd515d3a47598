"""The pages on which a guardian, or a grown-up pupil, reads, gives and withdraws consent."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from . import access, consent
from .models import Enrolment

SAID = {
    "give": "You have agreed. It holds from now on.",
    "withdraw": "Withdrawn. From now on the studio can neither watch nor hear.",
}


@require_safe
def consent_page(request: HttpRequest, pk: int) -> HttpResponse:
    """What is asked for, purpose by purpose, and who agreed or withdrew, and when."""
    enrolment = access.home_enrolment(request.user, pk)
    who = consent.deciders(enrolment)
    context = _shared(request, enrolment) | {
        "standings": [consent.standing(enrolment, purpose) for purpose in consent.WORDS],
        "deciders": who,
        "may_decide": request.user in who,
    }
    return render(request, "accounts/consent.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def consent_change(request: HttpRequest, pk: int, purpose: str) -> HttpResponse:
    """Asks once more and says what happens (GET); gives or withdraws (POST)."""
    if purpose not in consent.WORDS:
        raise Http404
    enrolment = access.decided_enrolment(request.user, pk)
    if request.method != "POST":
        return _ask(request, enrolment, purpose)
    choice = request.POST.get("choice")
    try:
        if choice == "give":
            consent.give(enrolment, request.user, purpose, request.POST.get("mark", ""))
        elif choice == "withdraw":
            consent.withdraw(enrolment, request.user, purpose)
        else:
            return _ask(request, enrolment, purpose, status=422)
    except consent.ChangedMeanwhile:
        return _ask(request, enrolment, purpose, changed=True, status=409)
    messages.success(request, SAID[choice])
    return redirect("consent", pk=pk)


def _ask(
    request: HttpRequest, enrolment: Enrolment, purpose: str, changed: bool = False, status=200
) -> HttpResponse:
    context = _shared(request, enrolment) | {
        "standing": consent.standing(enrolment, purpose),
        "changed": changed,
    }
    return render(request, "accounts/consent_change.html", context, status=status)


def _shared(request: HttpRequest, enrolment: Enrolment) -> dict:
    own = enrolment.pupil_id == request.user.pk
    return {
        "enrolment": enrolment,
        "own": own,
        "area": "pupil" if own else "guardian",
    }

"""The pages on which a guardian, or a grown-up pupil, reads, gives and withdraws consent."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from studio import figures

from . import access, consent
from .consent_text import ConsentText, text
from .consent_words import of_version
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
    context = _shared(request, enrolment)
    context |= {
        "standings": [
            (standing, text(standing.words, enrolment, context["alone"]))
            for standing in (consent.standing(enrolment, purpose) for purpose in consent.WORDS)
        ],
        "deciders": who,
        "may_decide": request.user in who,
        "earlier": _earlier(request, enrolment, context["alone"]),
    }
    return render(request, "accounts/consent.html", context)


def _earlier(request: HttpRequest, enrolment: Enrolment, alone: bool) -> ConsentText | None:
    """The wording that the address asks for, as it was."""
    version = figures.whole(request.GET.get("wording", ""))
    purpose = request.GET.get("purpose", consent.Purpose.RECORDINGS)
    words = of_version(purpose, version) if version else None
    return text(words, enrolment, alone) if words else None


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
    standing = consent.standing(enrolment, purpose)
    context = _shared(request, enrolment)
    context |= {
        "standing": standing,
        "text": text(standing.words, enrolment, context["alone"]),
        "changed": changed,
    }
    return render(request, "accounts/consent_change.html", context, status=status)


def _shared(request: HttpRequest, enrolment: Enrolment) -> dict:
    own = enrolment.pupil_id == request.user.pk
    decides_alone = own and consent.deciders(enrolment) == [enrolment.pupil]
    return {
        "enrolment": enrolment,
        "own": own,
        "alone": decides_alone,
        "reads_as_child": own and not decides_alone,
        "area": "pupil" if own else "guardian",
    }

"""The pages on which a guardian, or a grown-up pupil, reads, gives and withdraws consent."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from studio import figures
from studio.translating import gettext_lazy

from . import access, consent, retention
from .consent_text import ConsentText, text
from .consent_words import of_version
from .models import Enrolment
from .retention_words import lines_of

SAID = {
    "anew": gettext_lazy("You have agreed to the new times. They hold from now on."),
    "give": gettext_lazy("You have agreed. It holds from now on."),
    "withdraw": gettext_lazy("Withdrawn. From now on the studio can neither watch nor hear."),
}


@require_safe
def consent_page(request: HttpRequest, pk: int) -> HttpResponse:
    """What is asked for, purpose by purpose, and who agreed or withdrew, and when."""
    enrolment = access.home_enrolment(request.user, pk)
    who = consent.deciders(enrolment)
    context = _shared(request, enrolment)
    context |= {
        "standings": [
            _shown(enrolment, consent.standing(enrolment, purpose), context["alone"])
            for purpose in consent.WORDS
        ],
        "deciders": who,
        "may_decide": request.user in who,
        "earlier": _earlier(request, enrolment, context["alone"]),
    }
    return render(request, "accounts/consent.html", context)


def _shown(enrolment: Enrolment, standing: consent.Standing, alone: bool) -> dict:
    """A purpose with its words: of one that was agreed to, with the times that hold for it."""
    given = standing.given
    terms = retention.holding(enrolment) if given else None
    longer: list[str] = []
    if terms is not None and consent.keeps_longer(enrolment, standing):
        said = lines_of(terms)
        now = lines_of(retention.of_studio(enrolment.studio))
        longer = [line for line in now if line not in said]
    return {
        "standing": standing,
        "text": text(standing.words, enrolment, alone, terms),
        "longer": longer,
    }


def _earlier(request: HttpRequest, enrolment: Enrolment, alone: bool) -> ConsentText | None:
    """The wording that the address asks for, as it was: of one consent, with its times."""
    purpose = request.GET.get("purpose", consent.Purpose.RECORDINGS)
    version = figures.whole(request.GET.get("wording", ""))
    words = of_version(purpose, version) if version else None
    if words is None:
        return None
    number = figures.whole(request.GET.get("given", ""))
    history = consent.standing(enrolment, purpose).history
    row = next((row for row in history if row.pk == number), None)
    return text(words, enrolment, alone, retention.said_by(row.terms) if row else None)


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
        elif choice == "anew":
            consent.agree_anew(enrolment, request.user, purpose, request.POST.get("mark", ""))
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

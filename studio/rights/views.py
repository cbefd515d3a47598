"""The page from which people take a copy of their data, or have it erased."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe

from studio.accounts import access as people
from studio.figures import whole

from . import access
from .copies import sentences, services
from .retention import due


@require_safe
def rights(request: HttpRequest) -> HttpResponse:
    """All that the person may ask for, each with what can be done about it; or one copy alone."""
    if request.htmx:
        scope = scope_named(request, request.GET.get("of", ""))
        response = render(request, "rights/copy.html", {"offer": _offer(request, scope)})
    else:
        response = page(request)
    patch_vary_headers(response, ["HX-Request"])
    return response


def page(
    request: HttpRequest, refused: str = "", sentence: str = "", status: int = 200
) -> HttpResponse:
    """The page; where a copy was ``refused`` (a scope's key), with the sentence that says why."""
    offers = [_offer(request, scope) for scope in access.scopes_of(request.user)]
    for offer in offers:
        if offer["scope"].key == refused:
            offer["sentence"] = sentence
    context = {
        "offers": offers,
        "ended": people.ended_enrolments_kept_by(request.user),
        "erasures": request.user.erasures_asked.order_by("-asked_at"),
    }
    return render(request, "rights/rights.html", context, status=status)


def scope_named(request: HttpRequest, key: str) -> access.Scope:
    """What a page names, if the person may ask for it, or 404."""
    if key == "account":
        return access.account_of(request.user)
    kind, _, number = key.partition("-")
    place = whole(number) if kind == "place" else None
    if place is None:
        raise Http404
    return access.lessons_for(request.user, place)


def _offer(request: HttpRequest, scope: access.Scope) -> dict:
    copy = services.of(scope, request.user)
    failure = sentences.failure(copy) if copy else ""
    places = access.places_of(scope)
    going = due.days_of(places) if places else []
    return {"scope": scope, "copy": copy, "failure": failure, "going": going}

"""The page from which people take a copy of their data."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from . import access


@require_safe
def rights(request: HttpRequest) -> HttpResponse:
    """All that the person may ask for, each with what can be done about it."""
    context = {
        "scopes": access.scopes_of(request.user),
        "erasures": request.user.erasures_asked.order_by("-asked_at"),
    }
    return render(request, "rights/rights.html", context)

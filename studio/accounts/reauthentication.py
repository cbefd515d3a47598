"""What opens an account to somebody, or shuts somebody out, asks who is there once more.

A log-in may be weeks old and the device in other hands by now. So the views marked here want the
password (and the second step, where it is on) of the last half hour, whoever is logged in.
"""

from collections.abc import Callable
from datetime import timedelta
from functools import wraps
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from . import saved_forms

FRESH = timedelta(minutes=30)
KEY = "shown_at"


def shown(request: HttpRequest) -> None:
    """Who is logged in has shown it just now."""
    request.session[KEY] = timezone.now().isoformat()


def is_fresh(request: HttpRequest) -> bool:
    said = request.session.get(KEY) or request.session.get("since") or ""
    moment = parse_datetime(said)
    return moment is not None and timezone.now() - moment < FRESH


def asks_again(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Lead to the page that asks, and from there back; what was typed waits meanwhile."""

    @wraps(view)
    def guarded(request: HttpRequest, *args, **kwargs) -> HttpResponse:
        if is_fresh(request):
            return view(request, *args, **kwargs)
        back = request.get_full_path()
        if request.method == "POST":
            saved_forms.keep(request, view)
            back = saved_forms.page_before(request)
        return HttpResponseRedirect(f"{reverse('account_again')}?{urlencode({'next': back})}")

    return guarded

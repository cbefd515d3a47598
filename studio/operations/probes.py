"""What a load balancer asks: does the process answer, and can it do its work?

No log-in, no page, nothing kept. :class:`StandsApart` answers before anything else looks at the
request: a probe comes by the machine's address, which is in no ``ALLOWED_HOSTS``, and unencrypted
from inside, where a redirect to https would be taken for an answer.
"""

from collections.abc import Callable

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import resolve, reverse
from django.views.decorators.http import require_safe

from . import parts
from .metrics_page import metrics

APART = ("health", "ready", "metrics")  # names of addresses


@login_not_required
@require_safe
def health(request: HttpRequest) -> HttpResponse:
    """The process answers; nothing else is asked."""
    return _not_kept(HttpResponse("ok\n", content_type="text/plain; charset=utf-8"))


@login_not_required
@require_safe
def ready(request: HttpRequest) -> HttpResponse:
    """Whether database, queue and store answer: 200, or 503 with the part that does not."""
    said = {name: trouble or "ok" for name, trouble in parts.troubles().items()}
    fine = all(word == "ok" for word in said.values())
    return _not_kept(JsonResponse({"ready": fine, "parts": said}, status=200 if fine else 503))


class StandsApart:
    """Answers these addresses by itself; the first middleware, so that no other is asked."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response
        self._paths = {reverse(name) for name in APART}

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path_info not in self._paths:
            return self.get_response(request)
        view = resolve(request.path_info)
        return view.func(request, *view.args, **view.kwargs)


def _not_kept(response: HttpResponse) -> HttpResponse:
    response["Cache-Control"] = "no-store"
    response["X-Content-Type-Options"] = "nosniff"
    return response


__all__ = ["StandsApart", "health", "metrics", "ready"]

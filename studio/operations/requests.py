"""Counting what the web processes answer: by view and status, and how long it took.

A view's name is its address's in the resolver, so that nothing of a person or a clip is in it.
The time runs to the beginning of the answer: a recording's bytes go out after that.
"""

import os
import re
import time
import uuid
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.multiprocess import MultiProcessCollector

from studio import log_lines

from .metrics_folder import VARIABLE

NO_VIEW = "none"  # an address that does not exist, or a request that reached no view
A_NAME = re.compile(r"[0-9a-zA-Z-]{8,64}")
BUCKETS_S = (0.01, 0.025, 0.05, 0.1, 0.15, 0.3, 0.6, 1.2, 2.5, 5.0, 10.0)

_own = CollectorRegistry()
_requests = Counter(
    "studio_http_requests",
    "Requests answered, by the view's name and the answer's status.",
    ["view", "status"],
    registry=_own,
)
_durations = Histogram(
    "studio_http_request_duration_seconds",
    "Seconds from a request's arrival in the program to the beginning of its answer.",
    ["view"],
    buckets=BUCKETS_S,
    registry=_own,
)


class CountsRequests:
    """The first middleware after the probes, which are not counted."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        begun = time.perf_counter()
        response = self.get_response(request)
        found = request.resolver_match
        view = (found.url_name if found else None) or NO_VIEW
        _requests.labels(view, str(response.status_code)).inc()
        _durations.labels(view).observe(time.perf_counter() - begun)
        return response


class NamesRequests:
    """Gives each request a name that the lines of the log and the answer bear.

    A web server in front may have given it one; a browser may not.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-ID", "") if settings.PROXY else ""
        name = given if A_NAME.fullmatch(given) else uuid.uuid4().hex
        request.name_in_log = name
        with log_lines.about(request=name):
            response = self.get_response(request)
        response["X-Request-ID"] = name
        return response


def counted() -> CollectorRegistry:
    """What all web processes of this studio counted; without such a folder, what this one did."""
    if not os.environ.get(VARIABLE):
        return _own
    everybody = CollectorRegistry()
    MultiProcessCollector(everybody)
    return everybody

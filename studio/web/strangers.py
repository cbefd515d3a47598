"""Of what somebody sends who is not logged in, only the beginning is read."""

import io
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.http.request import HttpHeaders

from studio import figures

from .framing import FIRST_PART, WHOLE_BODY


class ShortBodies:
    """Cut a stranger's long body to its first part, before anything reads it.

    No form for strangers comes near that. What is sent after a session ran out may: a recording,
    with words before it. The words are in the first part, and are kept; the recording, which would
    fill the disk only to be refused, is not read.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if _announced(request) > WHOLE_BODY and not request.user.is_authenticated:
            _cut(request)
        return self.get_response(request)


def _announced(request: HttpRequest) -> int:
    """Bytes of the body, as its head says."""
    return figures.whole(request.META.get("CONTENT_LENGTH")) or 0


def _cut(request: HttpRequest) -> None:
    beginning = request.read(FIRST_PART)
    request.was_cut = True  # type: ignore[attr-defined]
    request.META["CONTENT_LENGTH"] = str(len(beginning))
    request.headers = HttpHeaders(request.META)
    request._stream = io.BytesIO(beginning)
    request._read_started = False

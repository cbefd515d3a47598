"""What a page says when something of ours failed: 500, 503 while the database is away, 507."""

import sys

from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.template import loader
from django.views import defaults

from studio.clips.uploads.partial import FULL

RETRY_S = 10  # a database that is started again is back by then


def server_error(request: HttpRequest) -> HttpResponse:
    """Django calls this while it handles the exception that nobody caught."""
    error = sys.exc_info()[1]
    if isinstance(error, OSError) and error.errno in FULL:
        # While a form with a recording is read, say, before any view sees it.
        return HttpResponse(loader.render_to_string("507.html"), status=507)
    if not isinstance(error, OperationalError | InterfaceError):
        return defaults.server_error(request)
    page = loader.render_to_string("503.html")  # asks the database for nothing
    return HttpResponse(page, status=503, headers={"Retry-After": str(RETRY_S)})

"""Headers that Django does not send, or that are the same for every answer."""

from collections.abc import Callable
from functools import wraps

from csp.constants import HEADER as CONTENT_SECURITY_POLICY
from csp.utils import build_policy
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django_htmx.http import HttpResponseClientRedirect


def _permissions(devices: str) -> str:
    unused = "geolocation=(), payment=(), usb=(), display-capture=()"
    return f"camera={devices}, microphone={devices}, {unused}"


HEADERS = {
    "Permissions-Policy": _permissions("()"),
    "Cross-Origin-Resource-Policy": "same-origin",
}


def records(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """The page has a recorder: it alone may ask for camera and microphone."""

    @wraps(view)
    def allowed(*args, **kwargs) -> HttpResponse:
        response = view(*args, **kwargs)
        response["Permissions-Policy"] = _permissions("(self)")
        return response

    return allowed


# The page's address or its words open a door. ``no-referrer`` would also take the origin from the
# forms that the page sends, and a post whose origin is "null" is refused.
OPENS_A_DOOR = {"Cache-Control": "private, no-store", "Referrer-Policy": "strict-origin"}


def opens_a_door(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """No copy of what the view answers is kept, and its address is told to no other page."""

    @wraps(view)
    def guarded(*args, **kwargs) -> HttpResponse:
        response = view(*args, **kwargs)
        for name, value in OPENS_A_DOOR.items():
            response[name] = value
        return response

    return guarded


def is_for_keeping(request: HttpRequest) -> bool:
    """A copy of the page is asked for that the browser keeps for when there is no line.

    Nobody reads it now, so it counts as no reading and takes no message away; and it holds no
    recording, nor what only a line can do.
    """
    return request.headers.get("X-Keep") == "1"


class StudioHeaders:
    """Add :data:`HEADERS` to every response that does not set them itself."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        return response


class ContentSecurityPolicy:
    """The policy of the settings: one for every answer, so it is put in words once.

    django-csp's own middleware puts it in words anew for each, as if each could have another.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response
        self.policy = build_policy()

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault(CONTENT_SECURITY_POLICY, self.policy)
        return response


class KeptNowhere:
    """No browser keeps a page, or a document for a script: the next to use it may be another.

    Recordings have a rule of their own. Stands behind the one that serves static files.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if response.get("Content-Type", "").startswith(("text/html", "application/json")):
            response["Cache-Control"] = "private, no-store"
        response.headers.setdefault("Cache-Control", "private, no-store")
        return response


class LogInOnAPageOfItsOwn:
    """Let htmx go to the log-in page where it was to replace a part of this one.

    It would follow the redirect by itself, and show the log-in in place of a button.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        asked_by_htmx = request.headers.get("HX-Request") == "true"
        if asked_by_htmx and response.get("Location", "").startswith(settings.LOGIN_URL):
            return HttpResponseClientRedirect(response["Location"])
        return response

"""Headers that neither Django nor django-csp sends."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

HEADERS = {
    # The recorder needs camera and microphone; nothing here needs to know a place.
    "Permissions-Policy": "camera=(self), microphone=(self), geolocation=(), payment=(), usb=()",
    "Cross-Origin-Resource-Policy": "same-origin",
}


class StudioHeaders:
    """Add :data:`HEADERS` to every response that does not set them itself."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        return response

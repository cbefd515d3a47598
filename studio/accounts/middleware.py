"""What happens around every request of a person: the log-in, what it knew, and what is kept."""

from collections.abc import Callable

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.views import redirect_to_login
from django.contrib.sessions.middleware import SessionMiddleware
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect

from . import known_device, remembered_person, saved_forms, sessions

NOT_ALLOWED = 405


class Sessions(SessionMiddleware):
    """Django's, but no answer takes a session's cookie away.

    Django does, where the cookie's session has ended. A clip on its way asks every two seconds
    whether it may go on; an answer to such a question of before the log-in, that came after it,
    took the new session's cookie. One whose session has ended opens nothing, and may stay.
    """

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        response = super().process_response(request, response)
        cookie = response.cookies.get(settings.SESSION_COOKIE_NAME)
        if cookie is not None and not cookie.value:
            del response.cookies[settings.SESSION_COOKIE_NAME]
        return response


class LogInFirst(LoginRequiredMiddleware):
    """Every view asks for a log-in unless it says otherwise; a form leads back to its own page."""

    def handle_no_permission(self, request: HttpRequest, view_func) -> HttpResponse:
        if request.method in ("GET", "HEAD"):
            return super().handle_no_permission(request, view_func)
        saved_forms.keep(request, view_func)
        back = saved_forms.page_before(request)
        return redirect_to_login(back, self.get_login_url(view_func))


class KnowsBrowsers:
    """Keeps the marks of a browser: who used it, who logged in there, when a session was used.

    Every answer says whose session it was asked in, so that what the browser keeps of anybody
    else is emptied (``static/offline/worker.js``).
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        known_device.note(request, response)
        session = request.session
        if not session.accessed:
            return response
        person = session.get(SESSION_KEY)
        response["X-Person"] = str(person or "nobody")
        if person is not None:
            session.note_use()
            if getattr(request, "logged_in_now", False) or not _marked(request):
                remembered_person.note(response, person)
            if request.method == "POST" and response.status_code < 400:
                saved_forms.forget_if_sent(request)
        if session.get(sessions.CLEAR) and request.method == "POST":
            response["Clear-Site-Data"] = '"storage"'
        return response


class PageAbove:
    """An address that is only posted to leads a person who opens it to the page it belongs to."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        opened = request.method == "GET" and response.status_code == NOT_ALLOWED
        if opened and saved_forms.by_hand(request):
            return HttpResponseRedirect(saved_forms.page_above(request.path))
        return response


def _marked(request: HttpRequest) -> bool:
    return settings.KNOWN_COOKIE_NAME in request.COOKIES

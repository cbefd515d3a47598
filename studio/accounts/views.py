"""Logging in and out, and the way to each person's own first page."""

from django.conf import settings
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils.decorators import method_decorator
from django.views.decorators.http import require_safe

from studio.headers import opens_a_door

from . import access
from .consent import ConsentMissing
from .forms import LogInForm

HOMES = {"teacher": "waiting_list", "pupil": "queue", "guardian": "children"}


@method_decorator(opens_a_door, name="dispatch")
class LogIn(LoginView):
    """Its own address may name an invitation's link, to go back to."""

    authentication_form = LogInForm
    template_name = "accounts/log_in.html"
    redirect_authenticated_user = True

    def get_context_data(self, **more) -> dict:
        return super().get_context_data(mail=bool(settings.MAIL), **more)


class LogOut(LogoutView):
    """By POST only: a link cannot log anybody out.

    What the browser kept of what was being written or recorded goes too: somebody else may use it
    next. A session that only runs out leaves it there.
    """

    def post(self, request: HttpRequest, *args, **kwargs) -> HttpResponse:
        response = super().post(request, *args, **kwargs)
        response["Clear-Site-Data"] = '"storage"'
        return response


def refused(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """What Django calls for 403: the sentence, as a page or, to a script, as JSON."""
    sentence = exception.sentence if isinstance(exception, ConsentMissing) else ""
    if sentence and "text/html" not in request.headers.get("Accept", "text/html"):
        return JsonResponse({"sentence": sentence}, status=403)
    return render(request, "403.html", {"sentence": sentence}, status=403)


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """To the first page of the person's first role."""
    for role in access.roles_of(request.user):
        return redirect(HOMES[role])
    return render(request, "accounts/no_studio.html")

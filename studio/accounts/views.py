"""Logging in and out, and the way to each person's own first page."""

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils.decorators import method_decorator
from django.views.decorators.http import require_POST, require_safe

from studio.headers import opens_a_door

from . import access, lockout, remembered_person, saved_forms, second_step, sessions
from .consent import ConsentMissing
from .forms import LogInForm
from .second_step_views import ask_for_code

CLEARED_WITHIN_S = 10 * 60
HOMES = {"teacher": "waiting_list", "pupil": "queue", "guardian": "children"}


@method_decorator(opens_a_door, name="dispatch")
class LogIn(LoginView):
    """Its own address may name an invitation's link, to go back to."""

    authentication_form = LogInForm
    template_name = "accounts/log_in.html"
    redirect_authenticated_user = True

    def form_valid(self, form: LogInForm) -> HttpResponse:
        person = form.get_user()
        if second_step.is_on(person) and not second_step.is_spared(self.request, person):
            lockout.was_right(self.request)
            return ask_for_code(self.request, person, self.get_success_url())
        return super().form_valid(form)

    def get_context_data(self, **more) -> dict:
        waits = saved_forms.kept(self.request) is not None
        return super().get_context_data(mail=bool(settings.MAIL), words_wait=waits, **more)


@method_decorator(login_not_required, name="dispatch")
class LogOut(LogoutView):
    """By POST only: a link cannot log anybody out.

    What the browser kept of what was being written or recorded goes too: somebody else may use it
    next. The header does that where the connection is safe, and a script of the next page
    everywhere. A session that only runs out leaves it there.
    """

    def post(self, request: HttpRequest, *args, **kwargs) -> HttpResponse:
        response = super().post(request, *args, **kwargs)
        request.session[sessions.CLEAR] = True
        request.session.set_expiry(CLEARED_WITHIN_S)
        remembered_person.forget(response)
        return response


@require_POST
def forget_words(request: HttpRequest) -> HttpResponse:
    """What was kept to be sent again is not wanted."""
    saved_forms.forget(request.session)
    return redirect(saved_forms.page_before(request))


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
    if request.user.is_operator:
        return redirect("operator")
    ended = access.ended_enrolments_kept_by(request.user)
    return render(request, "accounts/no_studio.html", {"ended": ended})

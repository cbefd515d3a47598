"""Logging in and out, and the way to each person's own first page."""

from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from . import access
from .forms import LogInForm

HOMES = {"teacher": "waiting_list", "pupil": "queue", "guardian": "children"}


class LogIn(LoginView):
    authentication_form = LogInForm
    template_name = "accounts/log_in.html"
    redirect_authenticated_user = True


class LogOut(LogoutView):
    """By POST only: a link cannot log anybody out."""


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """To the first page of the person's first role."""
    for role in access.roles_of(request.user):
        return redirect(HOMES[role])
    return render(request, "accounts/no_studio.html")

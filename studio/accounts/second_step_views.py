"""The second step: at the log-in, and on the page of the account; and asking who is there again."""

import time

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from studio.headers import opens_a_door

from . import reauthentication, second_step, sessions
from .account_forms import AgainForm, CodeForm, SecondStepForm
from .account_views import account_page
from .models import Person

KEY = "second_step"
WITHIN_S = 10 * 60  # from the password to the code
BACKEND = "django.contrib.auth.backends.ModelBackend"


def ask_for_code(request: HttpRequest, person: Person, leads_to: str) -> HttpResponse:
    """The password was right; the log-in waits for the code, in the visitor's own session."""
    request.session.cycle_key()
    request.session[KEY] = {
        "person": person.pk,
        "password": person.get_session_auth_hash(),
        "next": leads_to,
        "until": time.time() + WITHIN_S,
    }
    return redirect("log_in_code")


@login_not_required
@opens_a_door
@sensitive_post_parameters("code")
@require_http_methods(["GET", "HEAD", "POST"])
def log_in_code(request: HttpRequest) -> HttpResponse:
    """Asks for the code (GET); logs in by it (POST)."""
    if request.user.is_authenticated:
        return redirect("home")
    waits = request.session.get(KEY)
    person = _who_waits(waits)
    if person is None:
        request.session.pop(KEY, None)
        return redirect("log_in")
    form = CodeForm(request, person, request.POST if request.method == "POST" else None)
    if not form.is_valid():
        status = form.status if form.is_bound else 200
        return render(request, "accounts/log_in_code.html", {"form": form}, status=status)
    del request.session[KEY]
    login(request, person, backend=BACKEND)
    answer = redirect(_safe(request, waits["next"]))
    if form.cleaned_data["spare"]:
        second_step.spare(answer, person)
    return answer


@opens_a_door
@sensitive_post_parameters()
@require_POST
def begin(request: HttpRequest) -> HttpResponse:
    """Shows a new key, as a picture and as text, and asks for a first code."""
    form = SecondStepForm(request, request.POST)
    if not form.is_valid():
        return account_page(request, second=form)
    second_step.begin(request.user)
    return _set_up(request)


@opens_a_door
@sensitive_post_parameters("code")
@require_http_methods(["GET", "HEAD", "POST"])
def confirm(request: HttpRequest) -> HttpResponse:
    """The key that waits once more (GET); switches it on by a first code (POST)."""
    device = second_step.begun(request.user)
    if device is None or not reauthentication.is_fresh(request):
        return redirect("account")
    if request.method != "POST":
        return _set_up(request)
    form = CodeForm(request, request.user, request.POST, device=device)
    if not form.is_valid():
        return _set_up(request, form)
    sessions.end_all(request.user, but=request.session.session_key)
    return _show_codes(request, form.codes)


@opens_a_door
@sensitive_post_parameters()
@require_POST
def codes(request: HttpRequest) -> HttpResponse:
    """New printed codes in place of the phone's, shown this once."""
    return _with_step_on(
        request, lambda: _show_codes(request, second_step.make_codes(request.user))
    )


@sensitive_post_parameters()
@require_POST
def switch_off(request: HttpRequest) -> HttpResponse:
    """Password and code, and the password alone is asked for from then on."""

    def off() -> HttpResponse:
        second_step.switch_off(request.user)
        messages.success(request, _("From now on a log-in asks for your password alone."))
        return redirect("account")

    return _with_step_on(request, off)


@opens_a_door
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def again(request: HttpRequest) -> HttpResponse:
    """Asks who is there once more, and leads back."""
    form = AgainForm(request, request.POST if request.method == "POST" else None)
    leads_to = _safe(request, request.POST.get("next") or request.GET.get("next", ""))
    if not form.is_valid():
        context = {"form": form, "next": leads_to}
        status = 422 if form.is_bound else 200
        return render(request, "accounts/again.html", context, status=status)
    request.session.cycle_key()
    reauthentication.shown(request)
    return redirect(leads_to)


def _with_step_on(request: HttpRequest, act) -> HttpResponse:
    if not second_step.is_on(request.user):
        raise Http404
    form = SecondStepForm(request, request.POST)
    if not form.is_valid():
        return account_page(request, second=form)
    return act()


def _set_up(request: HttpRequest, form: CodeForm | None = None) -> HttpResponse:
    device = second_step.begun(request.user)
    if device is None:
        return redirect("account")
    reauthentication.shown(request)
    context = {
        # Of our own making: a picture of the key, without a word of anybody's.
        "picture": mark_safe(second_step.picture(device)),
        "key": second_step.key_as_text(device),
        "form": form or CodeForm(request, request.user, device=device),
    }
    return render(
        request, "accounts/second_step.html", context, status=form.status if form else 200
    )


def _show_codes(request: HttpRequest, made: list[str]) -> HttpResponse:
    context = {"codes": made, "address": request.build_absolute_uri(reverse("log_in"))}
    return render(request, "accounts/phone_codes.html", context)


def _who_waits(waits: dict | None) -> Person | None:
    if not waits or waits["until"] < time.time():
        return None
    person = Person.objects.filter(pk=waits["person"], is_active=True).first()
    unchanged = person is not None and person.get_session_auth_hash() == waits["password"]
    return person if unchanged else None


def _safe(request: HttpRequest, address: str) -> str:
    here = url_has_allowed_host_and_scheme(
        address, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return address if here else reverse("home")

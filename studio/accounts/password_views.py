"""A lost password: asking for a letter, and choosing a new one by its link."""

from axes.helpers import get_lockout_response
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import PasswordResetConfirmView
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse_lazy
from django.utils.decorators import method_decorator
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from studio.headers import opens_a_door
from studio.translating import gettext_lazy

from . import known_device, letters, lockout, passwords, throttling
from .forms import AskForm, ByCodeForm, ChooseForm, NewPasswordForm
from .models import Person

SET = gettext_lazy("The new password is set. Log in with it.")
WRONG_CODE = gettext_lazy(
    "This address and this code do not belong together, or the code was used already. "
    "Look at both once more."
)


@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def ask(request: HttpRequest) -> HttpResponse:
    """The same answer for every address, known or not; 404 where no mail is sent."""
    if not settings.MAIL:
        raise Http404
    form = AskForm(request.POST if request.method == "POST" else None)
    if not form.is_valid():
        status = 422 if form.is_bound else 200
        return render(request, "accounts/new_password.html", {"form": form}, status=status)
    letters.post_new_password(form.cleaned_data["email"], request.build_absolute_uri("/")[:-1])
    return render(request, "accounts/new_password_asked.html")


@method_decorator([login_not_required, opens_a_door], name="dispatch")
class Choose(PasswordResetConfirmView):
    """The link of a letter. Django moves its secret into the session before the form is shown."""

    form_class = ChooseForm
    template_name = "accounts/choose_password.html"
    success_url = reverse_lazy("log_in")

    def form_valid(self, form: ChooseForm) -> HttpResponse:
        answer = super().form_valid(form)
        passwords.renew(self.user, form.cleaned_data["new_password1"])
        passwords.told_by_letter(self.user)
        known_device.learns(self.request, self.user.pk)
        messages.success(self.request, SET)
        return answer


@login_not_required
@opens_a_door
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def by_link(request: HttpRequest, secret: str) -> HttpResponse:
    """The link of a teacher or of the operator: shows the form (GET), sets the password (POST)."""
    try:
        link = passwords.by_secret(secret)
        form = NewPasswordForm(link.person, request.POST or None)
        if form.is_valid():
            passwords.use_link(link, form.cleaned_data["password"])
            return _set(request, link.person)
    except passwords.NoLongerOpen:
        return render(request, "accounts/choose_password.html", {"by_link": True}, status=404)
    context = {"form": form, "person": link.person, "validlink": True}
    status = 422 if form.is_bound else 200
    return render(request, "accounts/choose_password.html", context, status=status)


@login_not_required
@opens_a_door
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def by_code(request: HttpRequest) -> HttpResponse:
    """A recovery code and a new password; wrong codes count as wrong log-ins do."""
    form = ByCodeForm(request.POST or None)
    if form.is_valid():
        counts = lockout.counts_of_code(request, form.cleaned_data["email"])
        if not throttling.take(counts):
            return get_lockout_response(request)
        if person := _set_by_code(form):
            throttling.give_back(counts)
            return _set(request, person)
        form.add_error(None, WRONG_CODE)
    status = 422 if form.is_bound else 200
    return render(request, "accounts/by_code.html", {"form": form}, status=status)


def _set_by_code(form: ByCodeForm) -> Person | None:
    said = form.cleaned_data
    code = passwords.find_code(said["email"], said["code"])
    if code is None:
        return None
    try:
        passwords.use_code(code, said["password"])
    except passwords.NoLongerOpen:
        return None
    return code.person


def _set(request: HttpRequest, person: Person) -> HttpResponse:
    """Whoever was logged in here is so no more: the password may be another person's.

    Whose it is has shown that the account is hers: this browser does not wait for what others try.
    """
    logout(request)
    known_device.learns(request, person.pk)
    messages.success(request, SET)
    return redirect("log_in")

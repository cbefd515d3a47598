"""A lost password: asking for a letter, and choosing a new one by its link."""

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import PasswordResetConfirmView
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse_lazy
from django.utils.decorators import method_decorator
from django.views.decorators.http import require_http_methods

from studio.headers import opens_a_door

from . import letters
from .forms import AskForm, ChooseForm


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
        messages.success(self.request, "The new password is set. Log in with it.")
        return super().form_valid(form)

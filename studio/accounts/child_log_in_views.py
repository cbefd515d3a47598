"""The page on which a guardian makes, renews and ends her child's log-in."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from studio.headers import opens_a_door
from studio.translating import gettext_lazy

from . import access, address_changes, child_log_in
from .child_log_in import NameTaken
from .forms import AS_TYPED
from .models import Enrolment
from .reauthentication import asks_again

TAKEN = gettext_lazy("Somebody logs in with this name already. Choose another.")


class LogInNameForm(forms.Form):
    """The name that the child types to log in."""

    login_name = forms.CharField(
        label=gettext_lazy("Log-in name"),
        max_length=child_log_in.LONGEST,
        help_text=gettext_lazy(
            "Letters from a to z and digits, with dots between them if you like. "
            "Capitals do not matter."
        ),
        widget=forms.TextInput(attrs={"autocomplete": "off", **AS_TYPED}),
        validators=[child_log_in.validate],
    )


@opens_a_door
@require_http_methods(["GET", "HEAD", "POST"])
@asks_again
def log_in_of_child(request: HttpRequest, pk: int) -> HttpResponse:
    """How the child logs in (GET); a new code, shown this once, or no log-in any more (POST)."""
    place = access.kept_guarded_enrolment(request.user, pk)
    child = place.pupil
    if not child_log_in.may_change(request.user, child):
        asked = address_changes.wanted(child)
        mine = asked is not None and request.user in address_changes.who_agrees(child)
        return _page(request, place, refused=True, wanted=asked if mine else None)
    if request.method != "POST":
        name = child.login_name or child_log_in.proposed(child.name)
        return _page(request, place, form=LogInNameForm(initial={"login_name": name}))
    if request.POST.get("choice") == "end":
        child_log_in.end(child, by=request.user)
        messages.success(
            request,
            _("%(child)s no longer logs in. Nothing was deleted.") % {"child": child.first_name},
        )
        return redirect("child" if access.is_current(place) else "kept_lessons", pk=pk)
    return _make(request, place)


def _make(request: HttpRequest, place: Enrolment) -> HttpResponse:
    form = LogInNameForm(request.POST)
    if form.is_valid():
        try:
            name = form.cleaned_data["login_name"]
            code = child_log_in.make(place.pupil, name, by=request.user)
        except NameTaken:
            form.add_error("login_name", TAKEN)
        else:
            return _page(request, place, code=code)
    return _page(request, place, form=form, status=422)


def _page(request: HttpRequest, place: Enrolment, status: int = 200, **more) -> HttpResponse:
    context = {
        "area": "guardian",
        "enrolment": place,
        "child": place.pupil,
        "ended": not access.is_current(place),
        "address": request.build_absolute_uri(reverse("log_in")),
        **more,
    }
    return render(request, "accounts/child_log_in.html", context, status=status)

"""The owner's page of how long what is kept: choosing, reading what that changes, keeping it."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from studio.accounts import access as people
from studio.accounts import retention, retention_settings, retention_words
from studio.accounts.reauthentication import asks_again

from .retention import rounds
from .retention.forms import TimesForm


@require_http_methods(["GET", "HEAD", "POST"])
@asks_again
def times(request: HttpRequest) -> HttpResponse:
    """What holds now (GET); what other times would change, and then, once sure, those (POST)."""
    studio = people.owned_studio(request.user)
    form = TimesForm(studio, request.POST if request.method == "POST" else None)
    context = {"studio": studio, "form": form, "area": "teacher"}
    context["now"] = retention_words.lines_of(retention.of_studio(studio))
    if request.method != "POST":
        return render(request, "rights/times.html", context)
    if not form.is_valid():
        return render(request, "rights/times.html", context, status=422)
    if not form.is_changed:
        messages.info(request, "These times hold already.")
        return redirect("times")
    if "sure" not in request.POST:
        return _ask(request, form, context)
    retention_settings.change(studio, form.terms(), form.log_days, by=request.user)
    messages.success(request, _("Kept. The families and the other teachers are told."))
    return redirect("times")


def _ask(request: HttpRequest, form: TimesForm, context: dict) -> HttpResponse:
    studio, terms = context["studio"], form.terms()
    context |= {
        "new": retention_words.lines_of(terms),
        "longer": retention.is_longer(terms, retention.of_studio(studio)),
        "preview": rounds.preview(studio, terms),
        "warned_days": retention.WARNED_DAYS,
        "chosen": {name: form.cleaned_data[name] for name in form.fields},
    }
    return render(request, "rights/times_change.html", context)

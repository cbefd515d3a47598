"""One drill set for several pupils at once, with what stands against it for each."""

from collections.abc import Iterable

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from studio.accounts.models import Enrolment, Instrument, Person, current

from . import access, services
from .forms import GoalForm
from .models import Drill, DrillVersion
from .suitability import Misfit, misfit_of


class SetForSeveralForm(GoalForm):
    """Set a drill for some of the studio's pupils, with one goal for all of them."""

    field_order = ["pupils"]
    pupils = forms.ModelMultipleChoiceField(
        queryset=None,
        label=_("For"),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Tick one pupil at least, then set it.")},
    )

    def __init__(self, teacher: Person, drill: Drill, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["pupils"]
        field.queryset = access.pupils_of(teacher, drill.studio)
        field.label_from_instance = lambda enrolment: enrolment.pupil.name


@require_http_methods(["GET", "HEAD", "POST"])
def several(request: HttpRequest, pk: int) -> HttpResponse:
    """Whom it is set for is ticked; it stands in each queue at once."""
    drill = access.drill_for(request.user, pk)
    version = drill.newest()
    form = SetForSeveralForm(request.user, drill, request.POST or None)
    taught = list(form.fields["pupils"].queryset)
    against = _against(version, taught)
    if form.is_valid():
        places = list(form.cleaned_data["pupils"])
        if form.judge(against.get(place.pk) for place in places):
            _set(version, places, request.user, form.goals())
            said = ngettext(
                "“%(drill)s” is in the queue of %(many)s pupil.",
                "“%(drill)s” is in the queues of %(many)s pupils.",
                len(places),
            )
            messages.success(request, said % {"drill": version, "many": len(places)})
            return redirect("drill", pk=pk)
    context = {
        "area": "teacher",
        "drill": drill,
        "version": version,
        "form": form,
        "goals": [form[name] for name in GoalForm.base_fields],
        "pupils": _pupils(form, taught, against),
    }
    status = 422 if form.is_bound else 200
    return render(request, "drills/several.html", context, status=status)


@transaction.atomic
def _set(version: DrillVersion, places: list[Enrolment], teacher: Person, goals: dict) -> None:
    for place in places:
        services.set_drill_now(version, place, teacher, **goals)


def _against(version: DrillVersion, places: Iterable[Enrolment]) -> dict[int, Misfit]:
    """What stands against the drill, by place; with one query for all instruments."""
    places = list(places)
    playing: dict[tuple[int, int], Instrument] = {}
    own = Instrument.objects.filter(current(), pupil__in=[place.pupil_id for place in places])
    for one in own.order_by("started_on", "pk"):  # the newest last
        playing[one.pupil_id, one.studio_id] = one
    found = {}
    for place in places:
        plays = playing.get((place.pupil_id, place.studio_id))
        misfit = misfit_of(version, place, plays) if plays else None
        if misfit is not None:
            found[place.pk] = misfit
    return found


def _pupils(form: SetForSeveralForm, taught: list[Enrolment], against: dict) -> list[dict]:
    """Each pupil's box, and why the drill does not suit, where it does not."""
    ticked = {str(each) for each in form["pupils"].value() or ()}
    return [
        {
            "pk": place.pk,
            "name": place.pupil.name,
            "ticked": str(place.pk) in ticked,
            "against": against.get(place.pk),
        }
        for place in taught
    ]

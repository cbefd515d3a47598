"""Whether a pupil reads in a child's words: for her teachers and her guardians to choose."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from studio.accounts import access as people
from studio.accounts import services
from studio.accounts.models import Enrolment, Person


@require_POST
def choose(request: HttpRequest, pk: int) -> HttpResponse:
    """On where ``simply`` is posted, else off; what was chosen last holds."""
    enrolment, page = _place(request.user, pk)
    simply = "simply" in request.POST
    services.change_reading(enrolment, simply)
    how = _("in simple words") if simply else _("with all figures")
    messages.success(
        request,
        _("Saved. %(pupil)s reads %(how)s from now on.")
        % {"pupil": enrolment.pupil.first_name, "how": how},
    )
    return redirect(page, pk=pk)


def _place(person: Person, pk: int) -> tuple[Enrolment, str]:
    """The pupil's place and the page that the choice stands on; 404 for the pupil herself."""
    try:
        return people.taught_enrolment(person, pk), "pupil"
    except Http404:
        return people.guarded_enrolment(person, pk), "child"

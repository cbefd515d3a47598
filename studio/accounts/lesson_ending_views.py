"""The teacher's pages on which a pupil's lessons end, and on which that is taken back."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from studio.translating import gettext_lazy

from . import access, lesson_endings
from .ended_already import says_that_it_ended
from .models import Enrolment


@require_http_methods(["GET", "HEAD", "POST"])
@says_that_it_ended(
    Enrolment, gettext_lazy("The lessons of {row.pupil} have ended already, on {on}.")
)
def end_place(request: HttpRequest, pk: int) -> HttpResponse:
    """Says what is then the case (GET); then the pupil's lessons end, today (POST)."""
    place = access.taught_enrolment(request.user, pk)
    if request.method != "POST":
        context = {
            "place": place,
            "said": lesson_endings.before_studio_ends(place),
            "area": "teacher",
        }
        return render(request, "accounts/place_end.html", context)
    lesson_endings.end_lessons(place, by=request.user)
    messages.success(
        request,
        _("The lessons of %(pupil)s have ended, and the family is told. Nothing was deleted.")
        % {"pupil": place.pupil},
    )
    return redirect("people")


@require_POST
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """The lessons go on as if they had not ended."""
    place = access.ended_taught_enrolment(request.user, pk)
    try:
        lesson_endings.take_back(place, lesson_endings.Side.STUDIO, by=request.user)
    except lesson_endings.CannotTakeBack as why:
        messages.warning(request, str(why))
    else:
        messages.success(
            request,
            _("The lessons of %(pupil)s go on, and the family is told.") % {"pupil": place.pupil},
        )
    return redirect("people")

"""The family's pages about the end of lessons: ending them, what came back, another studio."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio.accounts import access as people
from studio.accounts import guardians, lesson_endings
from studio.accounts.models import Enrolment
from studio.review import access as review

from . import access


@require_safe
def kept_lessons(request: HttpRequest, pk: int) -> HttpResponse:
    """What came back in lessons that have ended, for the pupil and whoever answers for her."""
    place = people.kept_enrolment(request.user, pk)
    mine = [scope for scope in access.scopes_of(request.user) if scope.place]
    decides = any((scope.person, scope.studio) == (place.pupil, place.studio) for scope in mine)
    context = {
        "place": place,
        "returns": review.returns_of(place),
        "decides": decides,
        "has_ended": not people.is_current(place),
    }
    return render(request, "rights/kept_lessons.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """Says what is then the case (GET); then the lessons end, today (POST)."""
    scope = access.lessons_for(request.user, pk)
    if scope.has_ended or scope.place is None:
        messages.info(request, "These lessons have ended already.")
        return redirect("rights")
    if request.method != "POST":
        context = {
            "place": scope.place,
            "said": lesson_endings.before_family_ends(scope.place, request.user),
        }
        return render(request, "rights/lessons_end.html", context)
    lesson_endings.end_lessons(scope.place, by=request.user, side=lesson_endings.Side.FAMILY)
    whose = (
        _("Your lessons")
        if scope.person == request.user
        else _("The lessons of %(person)s") % {"person": scope.person}
    )
    messages.success(
        request,
        _("%(whose)s at %(studio)s have ended. The teachers are told; nothing was deleted.")
        % {"whose": whose, "studio": scope.studio},
    )
    return redirect("rights")


@require_POST
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """The lessons go on as if they had not ended."""
    scope = access.lessons_for(request.user, pk)
    assert scope.place is not None
    try:
        lesson_endings.take_back(scope.place, lesson_endings.Side.FAMILY, by=request.user)
    except lesson_endings.CannotTakeBack as why:
        messages.warning(request, str(why))
    else:
        messages.success(
            request,
            _("The lessons at %(studio)s go on; the teachers are told.") % {"studio": scope.studio},
        )
    return redirect("rights")


@require_safe
def elsewhere(request: HttpRequest, pk: int) -> HttpResponse:
    """The way to another studio, step by step: a copy, the new place, the end of the old one."""
    scope = access.lessons_for(request.user, pk)
    assert scope.place is not None
    context = {
        "scope": scope,
        "place": scope.place,
        "new": _other_places(request, scope.place),
        "others": [one for one in guardians.of(scope.place) if one != request.user],
    }
    return render(request, "rights/elsewhere.html", context)


def _other_places(request: HttpRequest, place: Enrolment) -> list[Enrolment]:
    """Where the pupil has lessons today beside this studio, as far as the reader sees it."""
    kept = people.enrolments_kept_by(request.user).filter(pupil=place.pupil)
    return [one for one in kept.exclude(studio=place.studio) if people.is_current(one)]

"""One clip's page: the desk for its teacher, what came back for its pupil and guardian."""

from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe

from studio.accounts import access as people
from studio.clips import access as clips
from studio.clips.models import Clip
from studio.review import access
from studio.review.desk.views import desk
from studio.review.enclosures.snapshots import with_states
from studio.review.models import Return

from . import states
from .reading import can_be_watched, is_playable, moments


@require_safe
def clip_page(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    """Who looks decides what is seen; what is not returned shows only where the clip is."""
    clip = clips.clip_for(request.user, clip_id)
    if people.teaches(request.user, clip.enrolment):
        return desk(request, clip)
    return _for_home(request, clip)


def _for_home(request: HttpRequest, clip: Clip) -> HttpResponse:
    own = clip.enrolment.pupil_id == request.user.pk
    context = {
        "clip": clip,
        "enrolment": clip.enrolment,
        "area": "pupil" if own else "guardian",
        "place": states.of(clip),
        "playable": is_playable(clip),
    }
    try:
        returned = access.return_for(request.user, clip.pk)
    except Http404:
        return _underway(request, context)
    if own and returned.read_at is None:
        Return.objects.filter(pk=returned.pk, read_at=None).update(read_at=timezone.now())
    context["playable"] = can_be_watched(clip)
    if request.htmx and context["place"].preparing and not context["playable"]:
        return HttpResponse(status=204)  # nothing to show anew: what is being read stays
    placed = with_states(moments(returned.snapshot, clip.duration_s, for_guardian=not own), clip.pk)
    context |= {"returned": returned, "moments": placed}
    response = render(request, "review/returned.html", context)
    patch_vary_headers(response, ["HX-Request"])
    return response


def _underway(request: HttpRequest, context: dict) -> HttpResponse:
    part = "review/clip_status_part.html" if request.htmx else "review/clip_status.html"
    response = render(request, part, context)
    patch_vary_headers(response, ["HX-Request"])
    return response

"""One clip's page: the desk for its teacher, what came back for its pupil and guardian."""

from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe

from studio.accounts import access as people
from studio.clips import access as clips
from studio.clips.models import Clip, Stage
from studio.review import access
from studio.review.desk.views import desk
from studio.review.models import Return

from . import states

TRACK_LINE_Y, TRACK_LIFT = 20, 9  # px, as review/track.html draws it
LEAD_IN_S = 2.0  # a press plays from this long before the moment, so that it is heard coming


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
    context |= {"returned": returned, "moments": moments(returned.snapshot, clip.duration_s)}
    return render(request, "review/returned.html", context)


def _underway(request: HttpRequest, context: dict) -> HttpResponse:
    part = "review/clip_status_part.html" if request.htmx else "review/clip_status.html"
    response = render(request, part, context)
    patch_vary_headers(response, ["HX-Request"])
    return response


def is_playable(clip: Clip) -> bool:
    stage = clip.stage(Stage.Kind.PLAYBACK)
    return stage is not None and stage.is_done


def moments(snapshot: dict, duration_s: float | None) -> list[dict]:
    """The moments of a snapshot, each with where a press plays from and its place on the track.

    ``percent`` is along the clip (0 to 100); ``y`` is on the line, or above it for what was wide
    or sharp, below it for what was narrow or flat.
    """
    return [moment | _placed(moment, duration_s) for moment in snapshot["moments"]]


def _placed(moment: dict, duration_s: float | None) -> dict:
    start_s = moment["start_s"]
    deviation = (moment.get("params") or {}).get("deviation_cents") or 0
    lift = (deviation > 0) - (deviation < 0)
    return {
        "play_from_s": max(0.0, start_s - LEAD_IN_S),
        "until_s": start_s if moment.get("end_s") is None else moment["end_s"],
        "percent": f"{min(100.0, 100 * start_s / duration_s):.2f}" if duration_s else "0",
        "y": TRACK_LINE_Y - TRACK_LIFT * lift,
    }

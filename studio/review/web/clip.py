"""One clip's page: the desk for its teacher, what came back for its pupil and guardian."""

from uuid import UUID, uuid4

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from studio.accounts import access as people
from studio.accounts import consent
from studio.accounts.prepared import IsOneOf, Prepared
from studio.accounts.simple_reading import reads as reads_simply
from studio.clips import access as clips
from studio.clips import services as clip_services
from studio.clips import viewings
from studio.clips.models import Clip
from studio.clips.processing import availability
from studio.drills.models import Assignment
from studio.headers import is_for_keeping, records
from studio.review import access
from studio.review.enclosures.snapshots import with_states
from studio.review.models import Return
from studio.review.web.desk.views import desk
from studio.review.web.shared.by_ear import EARLIER, with_sound
from studio.review.web.shared.moments import moments
from studio.review.web.shared.pictures import can_be_watched, is_playable
from studio.review.web.shared.simply import simply

from .shared import clip_states
from .shared.ways import home_of, send_at


@require_safe
@records  # the desk, for replies
def clip_page(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    """Who looks decides what is seen; what is not returned shows only where the clip is."""
    clip = clips.clip_for(request.user, clip_id)
    if people.teaches(request.user, clip.enrolment):
        return desk(request, clip)
    return _for_home(request, clip)


@require_POST
def put_away(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    """Whoever sent a clip has read why it could not be used."""
    clip = clips.own_refused_clip(request.user, clip_id)
    clip_services.put_away(clip, by=request.user)
    messages.success(request, _("It was put away."))
    return redirect(home_of(request.user, clip.enrolment))


def _for_home(request: HttpRequest, clip: Clip) -> HttpResponse:
    own = clip.enrolment.pupil_id == request.user.pk
    context = {
        "clip": clip,
        "enrolment": clip.enrolment,
        "area": "pupil" if own else "guardian",
        "place": clip_states.at_home(clip),
        "ended": not people.is_current(clip.enrolment),
        "send_at": send_at(request.user, clip.enrolment, clip.consented),
        "playable": is_playable(clip),
        "watchers": viewings.watchers_of(clip),
        # Whoever decides for the pupil, as a rule; who it is exactly is asked on the page itself.
        "may_erase": bool(consent.is_grown_up(clip.enrolment.pupil)) == own,
    }
    try:
        returned = access.return_of(clip, at_home=True)
    except Http404:
        if context["ended"]:
            raise
        return _underway(request, context)
    reads = own or not clip.enrolment.pupil.logs_in_with  # then a guardian reads with the child
    kept = is_for_keeping(request)
    if reads and returned.read_at is None and not kept:
        Return.objects.filter(pk=returned.pk, read_at=None).update(read_at=timezone.now())
    context["playable"] = can_be_watched(clip) and not kept
    if request.htmx and context["place"].preparing and not context["playable"]:
        return HttpResponse(status=204)  # nothing to show anew: what is being read stays
    context |= _returned(request, clip, returned, context["playable"], own=own)
    context["may_ask"] = not context["ended"]
    response = render(request, "review/returned.html", context)
    patch_vary_headers(response, ["HX-Request"])
    return response


def _returned(
    request: HttpRequest, clip: Clip, returned: Return, playable: bool, *, own: bool
) -> dict:
    """What the page of a returned clip reads, beside what that of every clip does."""
    placed = with_states(moments(returned.snapshot, clip.duration_s, for_guardian=not own), clip.pk)
    if playable:
        earlier = access.earlier_returned(returned.review, EARLIER)
        placed = with_sound(placed, returned.snapshot, returned.review, earlier)
    found = {
        "returned": returned,
        "moments": placed,
        "questions": access.questions_about(clip),
        "ask_about": f"clip={clip.pk}",
        "worked_key": uuid4().hex,
        "snapshot": returned.snapshot | {"drills": _drills(returned.snapshot)},
    }
    if reads_simply(clip.enrolment, is_own=own, asked=request.GET.get("as", "")):
        found["simply"] = simply(returned.snapshot, placed)
    return found


def _drills(snapshot: dict) -> list[dict]:
    """The drills set with a return, each with what has become of it since."""
    numbers = [drill.get("assignment") for drill in snapshot.get("drills", [])]
    since = {
        one.pk: {"sent_at": one.sent_at, "answered_at": one.answered_at, "done_at": one.done_at}
        for one in _sendings(numbers=[*filter(None, numbers)], now=timezone.now())
    }
    gone = {"assignment": None}  # its time was over: what it was called stays
    return [
        drill | since.get(drill.get("assignment"), gone) for drill in snapshot.get("drills", [])
    ]


_sendings = Prepared(
    lambda: access.with_sendings(Assignment.objects.filter(IsOneOf("pk", "numbers")), access.NOW)
)


def _underway(request: HttpRequest, context: dict) -> HttpResponse:
    if context["place"].unheard:
        context["absence"] = availability.watch()
    part = "review/clip_status_part.html" if request.htmx else "review/clip_status.html"
    response = render(request, part, context)
    patch_vary_headers(response, ["HX-Request"])
    return response

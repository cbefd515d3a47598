"""A recording that is on its way, or there and not yet a clip: what its page and its pupil ask."""

import functools
import logging
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio import figures
from studio.accounts import access as people
from studio.accounts.models import Person
from studio.clips.models import Clip, Upload
from studio.clips.signals import Unacceptable
from studio.clips.uploads import access
from studio.clips.uploads import services as uploads
from studio.clips.uploads.protocol import decoded, encoded
from studio.review.sending import WORDS

from .outcome import ARRIVED_LATER, Answer, of_clip

log = logging.getLogger(__name__)

TAKEN = (201, 202)


@dataclass(frozen=True, slots=True)
class HalfSent:
    """A recording that was begun: what was said with it, how much is here, and until when.

    ``same_as`` is the clip of the same recording where the pupil has yet to say what to do.
    """

    pk: UUID
    said: dict[str, str]
    length_bytes: int
    amount: str
    until: datetime
    same_as: Clip | None

    @property
    def name(self) -> str:
        return self.said.get("filename") or "A recording"


def half_sent(person: Person) -> list[HalfSent]:
    """What the person may go on with, newest first."""
    return [_described(upload) for upload in access.unfinished(person)]


def for_script(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Answer 401 in JSON where the page's person is not logged in: a script cannot log in."""

    @login_not_required
    @functools.wraps(view)
    def answered(request: HttpRequest, *args, **kwargs) -> HttpResponse:
        if stranger := access.stranger(request):
            return JsonResponse({"sentence": stranger}, status=401)
        return view(request, *args, **kwargs)

    return answered


@for_script
@require_POST
def arrived(request: HttpRequest, upload_id: UUID) -> JsonResponse:
    """What became of a recording whose last piece has come: ``sentence``, and ``next``."""
    upload = access.upload_for(request.user, upload_id)
    with suppress(Unacceptable):  # the recording counts; the words from before stay
        _say_anew(request, upload)
    answer = _outcome(upload)
    if answer.status in TAKEN:
        messages.success(request, answer.sentence)
    return in_json(answer)


@for_script
@require_POST
def words(request: HttpRequest, upload_id: UUID) -> HttpResponse:
    """What the page says about it now: it belongs to the recording from the moment it is typed."""
    try:
        _say_anew(request, access.upload_for(request.user, upload_id))
    except Unacceptable as unacceptable:
        return JsonResponse({"sentence": str(unacceptable)}, status=422)
    return HttpResponse(status=204)


@require_http_methods(["GET", "HEAD", "POST"])
def same(request: HttpRequest, upload_id: UUID) -> HttpResponse:
    """All of it is here, and it was sent before: whether it is to be a clip of its own."""
    upload = access.upload_for(request.user, upload_id)
    if not upload.is_whole or (upload.clip_id is None and not upload.asks):
        raise Http404
    if upload.clip_id is not None:  # decided, here or in another tab
        return redirect("queue")
    if request.method != "POST":
        return render(request, "review/same.html", {"area": "pupil", "half": _described(upload)})
    clip = uploads.send_again(upload)
    answer = of_clip(clip) if clip else ARRIVED_LATER
    messages.success(request, answer.sentence)
    return redirect("queue")


@require_POST
def forget(request: HttpRequest, upload_id: UUID) -> HttpResponse:
    """Remove what has arrived of a recording that is no clip."""
    upload = access.upload_for(request.user, upload_id)
    if upload.clip_id is not None:
        raise Http404
    left = upload.asks
    uploads.forget(upload)
    if left:
        messages.success(request, "Left as it was: there is one clip of it.")
        return redirect("queue")
    messages.success(request, "It was removed. Nothing of it is kept.")
    return redirect("send")


@require_safe
def logged_in(request: HttpRequest) -> HttpResponse:
    """Where the log-in leads that a sending page has opened beside itself."""
    people.sending_enrolment(request.user)
    return render(request, "review/logged_in.html", {"area": "pupil"})


def in_json(answer: Answer) -> JsonResponse:
    body = {"sentence": answer.sentence, "clip": str(answer.clip.pk) if answer.clip else None}
    if answer.next:
        body["next"] = answer.next
    elif answer.status in TAKEN:
        body["next"] = reverse("queue")
    return JsonResponse(body, status=answer.status)


def ask_about(upload: Upload) -> Answer:
    """Where the question stands whether a recording is to be sent a second time."""
    return Answer(200, "", next=reverse("send_same", args=[upload.pk]))


def _outcome(upload: Upload) -> Answer:
    if not upload.is_whole:
        return Answer(409, "Not all of it has arrived yet. Send it again, and it goes on.")
    try:
        clip = upload.clip or uploads.finish(upload)
    except OSError as error:
        log.error("an upload could not become a clip yet: %s", error)
        return ARRIVED_LATER
    if clip:
        return of_clip(clip)
    return ask_about(upload) if upload.asks else ARRIVED_LATER


def _say_anew(request: HttpRequest, upload: Upload) -> None:
    """Take the words that the request brings, if it brings any; the rest stays as it was."""
    said = {name: request.POST[name] for name in WORDS if name in request.POST}
    before = decoded(upload.metadata)
    if any(before.get(name, "") != text for name, text in said.items()):
        uploads.say_anew(upload, encoded(before | said))


def _described(upload: Upload) -> HalfSent:
    kept, whole = map(figures.megabytes, (upload.offset_bytes, upload.length_bytes))
    return HalfSent(
        upload.pk,
        decoded(upload.metadata),
        upload.length_bytes,
        f"{kept} of {whole}",
        upload.expires_at,
        upload.same_as if upload.asks else None,
    )

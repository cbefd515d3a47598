"""Sending a clip: by script in pieces, or by the plain form where scripts do not run.

The script sends the recording to :mod:`studio.clips.uploads` and then asks here what became of
it. The form posts all at once; too large a body is refused by its announced length, before any
of it is read.
"""

import errno
import logging
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID, uuid4

from django import forms
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_http_methods, require_POST

from studio import figures, media
from studio.accounts import access as people
from studio.accounts.models import Enrolment
from studio.clips import files, sentences
from studio.clips import services as clip_services
from studio.clips.models import Clip, Upload
from studio.clips.uploads import access as upload_access
from studio.clips.uploads import services as uploads
from studio.clips.uploads.protocol import decoded
from studio.review import services
from studio.review.sending import SendForm

log = logging.getLogger(__name__)

# What the form's other parts and the boundaries may add to the recording itself.
FORM_OVERHEAD_BYTES = 64 * 1024
MB = 1_000_000
TAKEN = (201, 202)
LATER = (
    "All of your recording has arrived and is kept. It could not be opened just now; that is "
    "tried again by itself, and you need not send it again."
)
ENDINGS = ".mp4,.m4v,.mov,.webm,.mkv,.wav,.m4a,.mp3,.flac,.ogg,.opus"


class SendFileForm(SendForm):
    """The plain form, with the recording in it."""

    recording = forms.FileField(
        label="Recording",
        allow_empty_file=True,  # the server's own sentence says more than Django's
        widget=forms.FileInput(attrs={"accept": f"video/*,audio/*,{ENDINGS}"}),
        error_messages={"required": "Choose a recording first, then send it."},
    )


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a sending: the HTTP status, a sentence, and the clip when there is one."""

    status: int
    sentence: str
    clip: Clip | None = None


@dataclass(frozen=True, slots=True)
class HalfSent:
    """A recording that was begun: its name, how much of it is here, and until when."""

    pk: UUID
    name: str
    amount: str
    until: datetime


# CSRF is checked inside, after the length: Django would read the whole form to find the token.
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def send(request: HttpRequest) -> HttpResponse:
    enrolment = people.sending_enrolment(request.user)
    if request.method == "POST" and _length(request) > settings.MAX_UPLOAD_BYTES + (
        FORM_OVERHEAD_BYTES
    ):
        return _page(request, SendFileForm(enrolment), _too_large(_length(request)))
    return _send(request, enrolment)


@csrf_protect
def _send(request: HttpRequest, enrolment: Enrolment) -> HttpResponse:
    if request.method != "POST":
        chosen = {"assignment": request.GET.get("assignment", ""), "upload_key": uuid4().hex}
        return _page(request, SendFileForm(enrolment, initial=chosen))
    form = SendFileForm(enrolment, request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, form, Answer(422, ""))
    recording = form.cleaned_data["recording"]
    answer = _receive(request, enrolment, form, recording.chunks(), recording.name)
    if answer.status == 201:
        messages.success(request, answer.sentence)
        return redirect("queue")
    return _page(request, _with_new_key(enrolment, form), answer)


@require_POST
def arrived(request: HttpRequest, upload_id: UUID) -> JsonResponse:
    """What became of a recording whose last piece has come: ``sentence``, and ``next``."""
    answer = _outcome(upload_access.upload_for(request.user, upload_id))
    if answer.status in TAKEN:
        messages.success(request, answer.sentence)
    return _json(answer)


@require_POST
def forget(request: HttpRequest, upload_id: UUID) -> HttpResponse:
    """Remove what has arrived of a half-sent recording."""
    uploads.forget(upload_access.upload_for(request.user, upload_id))
    messages.success(request, "It was removed. Nothing of it is kept.")
    return redirect("send")


def _outcome(upload: Upload) -> Answer:
    if not upload.is_whole:
        return Answer(409, "Not all of it has arrived yet. Send it again, and it goes on.")
    try:
        clip = upload.clip or uploads.finish(upload)
    except (media.Failed, OSError) as error:
        log.error("an upload could not become a clip yet: %s", error)
        clip = None
    return _of(clip) if clip else Answer(202, LATER)


def _receive(request, enrolment, form: SendForm, chunks, filename: str) -> Answer:
    said = form.cleaned_data
    try:
        clip = clip_services.receive(
            enrolment,
            request.user,
            chunks,
            filename,
            title=said["title"],
            note=said["note"],
            upload_key=said["upload_key"],
            also=lambda clip: services.begin_review(clip, said["assignment"]),
        )
    except files.TooLarge as large:
        return _too_large(large.limit_bytes + 1)
    except media.Failed as failed:
        log.error("a recording could not be examined: %s %s", failed.code, failed.detail)
        return Answer(503, "It could not be opened just now; that is our fault. Send it again.")
    except OSError as error:
        return _disk(error)
    return _of(clip)


def _of(clip: Clip) -> Answer:
    if clip.intake == Clip.Intake.REFUSED:
        return Answer(422, sentences.refusal(clip), clip)
    return Answer(201, "Your clip has arrived. Your teacher can see it now.", clip)


def _disk(error: OSError) -> Answer:
    log.exception("a recording could not be stored")
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return Answer(
            507, "The server has no room left. Keep the recording, and tell your teacher."
        )
    return Answer(503, "It could not be stored just now; that is our fault. Send it again later.")


def _too_large(size_bytes: int) -> Answer:
    refused = media.Refused(
        "too_many_bytes",
        size_mb=-(-size_bytes // MB),
        limit_mb=settings.MAX_UPLOAD_BYTES // MB,
    )
    return Answer(413, refused.sentence)


def _length(request: HttpRequest) -> int:
    try:
        return int(request.headers.get("Content-Length") or 0)
    except ValueError:
        return 0


def _with_new_key(enrolment: Enrolment, form: SendFileForm) -> SendFileForm:
    """The same words with a key of their own: what is sent next is another clip."""
    return SendFileForm(enrolment, initial=form.data.dict() | {"upload_key": uuid4().hex})


def _page(request: HttpRequest, form: SendFileForm, answer: Answer | None = None) -> HttpResponse:
    context = {
        "form": form,
        "area": "pupil",
        "sentence": answer.sentence if answer else "",
        "max_bytes": settings.MAX_UPLOAD_BYTES,
        "max_mb": settings.MAX_UPLOAD_BYTES // MB,
        "max_clip_s": settings.MAX_CLIP_S,
        "longest": figures.minutes_or_seconds(settings.MAX_CLIP_S),
        "endings": ENDINGS,
        "half_sent": [_half_sent(upload) for upload in upload_access.unfinished(request.user)],
    }
    return render(request, "review/send.html", context, status=answer.status if answer else 200)


def _half_sent(upload: Upload) -> HalfSent:
    name = decoded(upload.metadata).get("filename") or "A recording"
    kept, whole = map(figures.megabytes, (upload.offset_bytes, upload.length_bytes))
    return HalfSent(upload.pk, name, f"{kept} of {whole}", upload.expires_at)


def _json(answer: Answer) -> JsonResponse:
    body = {"sentence": answer.sentence, "clip": str(answer.clip.pk) if answer.clip else None}
    if answer.status in TAKEN:
        body["next"] = reverse("queue")
    return JsonResponse(body, status=answer.status)

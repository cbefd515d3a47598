"""Sending a clip: by script in pieces, or by the plain form where scripts do not run.

The script sends the recording to :mod:`studio.clips.uploads` and then asks here what became of
it. The form posts all at once; too large a body is refused by its announced length, before any
of it is read.
"""

import logging
from uuid import uuid4

from django import forms
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_http_methods

from studio import figures
from studio.accounts import access as people
from studio.accounts.models import Enrolment
from studio.clips import services as clip_services
from studio.clips.quota import OverQuota
from studio.clips.storage import spool
from studio.clips.uploads import services as uploads
from studio.clips.uploads.protocol import encoded
from studio.figures import MB
from studio.review import services
from studio.review.sending import SendForm

from .half_sent import ask_about, half_sent
from .outcome import Answer, of_clip, of_disk, too_large

log = logging.getLogger(__name__)

# What the form's other parts and the boundaries may add to the recording itself.
FORM_OVERHEAD_BYTES = 64 * 1024
ENDINGS = ".mp4,.m4v,.mov,.webm,.mkv,.wav,.m4a,.mp3,.flac,.ogg,.opus"


class SendFileForm(SendForm):
    """The plain form, with the recording in it."""

    recording = forms.FileField(
        label="Recording",
        allow_empty_file=True,  # the server's own sentence says more than Django's
        widget=forms.FileInput(attrs={"accept": f"video/*,audio/*,{ENDINGS}"}),
        error_messages={"required": "Choose a recording first, then send it."},
    )


# CSRF is checked inside, after the length: Django would read the whole form to find the token.
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def send(request: HttpRequest) -> HttpResponse:
    enrolment = people.sending_enrolment(request.user)
    if request.method == "POST" and _length(request) > settings.MAX_UPLOAD_BYTES + (
        FORM_OVERHEAD_BYTES
    ):
        return _page(request, SendFileForm(enrolment), too_large(_length(request)))
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
    if answer.next:
        return redirect(answer.next)
    if answer.status in (200, 201):
        messages.success(request, answer.sentence)
        return redirect("queue")
    return _page(request, _with_new_key(enrolment, form), answer)


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
            subject=said["subject"],
            upload_key=said["upload_key"],
            also=lambda clip: services.begin_review(clip, said["assignment"]),
        )
    except clip_services.SentBefore as before:
        return _ask(request, enrolment, before, said, filename)
    except OverQuota as over:
        return Answer(429, over.sentence)
    except spool.TooLarge as large:
        return too_large(large.limit_bytes + 1)
    except OSError as error:
        return of_disk(error)
    return of_clip(clip)


def _ask(
    request: HttpRequest,
    enrolment: Enrolment,
    before: clip_services.SentBefore,
    said: dict,
    filename: str,
) -> Answer:
    """Keep the file, so that its bytes are not asked for again, and ask about it."""
    answers = said["assignment"]
    words = {name: said[name] for name in ("subject", "title", "note")}
    words |= {"filename": filename[-200:], "assignment": str(answers.pk) if answers else ""}
    try:
        return ask_about(uploads.keep_whole(enrolment, request.user, before, encoded(words)))
    except uploads.TooMany:
        return Answer(
            200, f"This recording was sent before, as “{before.clip}”: there is one clip of it."
        )


def _length(request: HttpRequest) -> int:
    return figures.whole(request.headers.get("Content-Length")) or 0


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
        "csrf_cookie": settings.CSRF_COOKIE_NAME,
        "half_sent": half_sent(request.user),
    }
    return render(request, "review/send.html", context, status=answer.status if answer else 200)

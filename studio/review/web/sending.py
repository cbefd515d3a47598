"""Sending a clip: by script in pieces, or by the plain form where scripts do not run.

The script sends the recording to :mod:`studio.clips.uploads` and then asks here what became of
it. The form posts all at once; too large a body is refused by its announced length, before any
of it is read. What is half sent can be gone on with, or forgotten.
"""

import errno
import functools
import logging
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID, uuid4

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio import figures, media
from studio.accounts import access as people
from studio.accounts.models import Enrolment, Person
from studio.clips import sentences
from studio.clips import services as clip_services
from studio.clips.models import Clip, Upload
from studio.clips.quota import OverQuota
from studio.clips.signals import Unacceptable
from studio.clips.storage import spool
from studio.clips.uploads import access
from studio.clips.uploads import services as uploads
from studio.clips.uploads.protocol import decoded, encoded
from studio.figures import MB
from studio.review.waiting import submissions
from studio.review.waiting.submissions import WORDS, SendForm
from studio.review.web.shared.ways import home_of, record_at
from studio.translating import gettext_lazy

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Answer:
    """The HTTP status, a sentence, the clip when there is one, and the page to go to."""

    status: int
    sentence: str
    clip: Clip | None = None
    next: str = ""


ARRIVED_LATER = Answer(
    202,
    gettext_lazy(
        "All of your recording has arrived and is kept. It could not be opened just now; that is "
        "tried again by itself, and you need not send it again."
    ),
)
UNSEEN = gettext_lazy(
    "Your clip has arrived and is kept. It could not be opened just now; that is our fault. It is "
    "tried again by itself, and you need not send it again."
)


def of_clip(clip: Clip, sender: Person) -> Answer:
    """Arrived, with what whoever sent it should know at once; or refused."""
    own = clip.enrolment.pupil_id == sender.pk
    if clip.intake == Clip.Intake.REFUSED:
        return Answer(422, sentences.refusal(clip), clip)
    if clip.is_unseen:
        return Answer(201, UNSEEN, clip)
    if not clip.has_audio:
        return Answer(
            201,
            _("Your clip has arrived. %(sentence)s")
            % {"sentence": sentences.sentence("no_sound", {})},
            clip,
        )
    who = _("Your teacher") if own else clip.enrolment.teacher
    return Answer(201, _("Your clip has arrived. %(who)s can see it now.") % {"who": who}, clip)


def of_disk(error: OSError) -> Answer:
    log.exception("a recording could not be stored")
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return Answer(
            507, _("The server has no room left. Keep the recording, and tell your teacher.")
        )
    return Answer(
        503, _("It could not be stored just now; that is our fault. Send it again later.")
    )


def too_large(size_bytes: int) -> Answer:
    refused = media.Refused(
        "too_many_bytes",
        size_mb=-(-size_bytes // MB),
        limit_mb=settings.MAX_UPLOAD_BYTES // MB,
    )
    return Answer(413, refused.sentence)


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
        return self.said.get("filename") or _("A recording")


def half_sent(person: Person, place: Enrolment) -> list[HalfSent]:
    """What the person may go on with, newest first."""
    return [_described(upload) for upload in access.unfinished(person, place)]


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
    return in_json(answer, home_of(request.user, upload.enrolment))


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
    home = home_of(request.user, upload.enrolment)
    if upload.clip_id is not None:  # decided, here or in another tab
        return redirect(home)
    if request.method != "POST":
        context = _reader(request.user, upload.enrolment) | {"half": _described(upload)}
        return render(request, "review/same.html", context)
    clip = uploads.send_again(upload)
    answer = of_clip(clip, request.user) if clip else ARRIVED_LATER
    messages.success(request, answer.sentence)
    return redirect(home)


@require_POST
def forget(request: HttpRequest, upload_id: UUID) -> HttpResponse:
    """Remove what has arrived of a recording that is no clip."""
    upload = access.upload_for(request.user, upload_id)
    if upload.clip_id is not None:
        raise Http404
    left = upload.asks
    uploads.forget(upload)
    if left:
        messages.success(request, _("Left as it was: there is one clip of it."))
        return redirect(home_of(request.user, upload.enrolment))
    messages.success(request, _("It was removed. Nothing of it is kept."))
    return redirect(_sending_page(request.user, upload.enrolment))


@require_safe
def logged_in(request: HttpRequest) -> HttpResponse:
    """Where the log-in leads that a sending page has opened beside itself."""
    if not people.places_to_send_to(request.user):
        raise Http404
    return render(request, "review/logged_in.html")


def in_json(answer: Answer, home: str) -> JsonResponse:
    body = {"sentence": answer.sentence, "clip": str(answer.clip.pk) if answer.clip else None}
    if answer.next:
        body["next"] = answer.next
    elif answer.status in TAKEN:
        body["next"] = home
    return JsonResponse(body, status=answer.status)


def ask_about(upload: Upload) -> Answer:
    """Where the question stands whether a recording is to be sent a second time."""
    return Answer(200, "", next=reverse("send_same", args=[upload.pk]))


def _outcome(upload: Upload) -> Answer:
    if not upload.is_whole:
        return Answer(409, _("Not all of it has arrived yet. Send it again, and it goes on."))
    try:
        clip = upload.clip or uploads.finish(upload)
    except OSError as error:
        log.error("an upload could not become a clip yet: %s", error)
        return ARRIVED_LATER
    if clip:
        return of_clip(clip, upload.person)
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


log = logging.getLogger(__name__)

# What the form's other parts and the boundaries may add to the recording itself.
FORM_OVERHEAD_BYTES = 64 * 1024
ENDINGS = ".mp4,.m4v,.mov,.webm,.mkv,.wav,.m4a,.mp3,.flac,.ogg,.opus"


class SendFileForm(SendForm):
    """The plain form, with the recording in it."""

    recording = forms.FileField(
        label=gettext_lazy("Recording"),
        allow_empty_file=True,  # the server's own sentence says more than Django's
        widget=forms.FileInput(attrs={"accept": f"video/*,audio/*,{ENDINGS}"}),
        error_messages={"required": gettext_lazy("Choose a recording first, then send it.")},
    )


# CSRF is checked inside, after the length: Django would read the whole form to find the token.
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def send(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Send a clip: the pupil to the own place, or a guardian to that of her child."""
    enrolment = people.sending_enrolment(request.user, pk)
    if request.method == "POST" and _length(request) > settings.MAX_UPLOAD_BYTES + (
        FORM_OVERHEAD_BYTES
    ):
        return _page(request, enrolment, _form(request, enrolment), too_large(_length(request)))
    return _send(request, enrolment)


@csrf_protect
def _send(request: HttpRequest, enrolment: Enrolment) -> HttpResponse:
    if request.method != "POST":
        return _page(request, enrolment, empty_form(request, enrolment))
    form = _form(request, enrolment, request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, enrolment, form, Answer(422, ""))
    recording = form.cleaned_data["recording"]
    answer = _receive(request, enrolment, form, recording.chunks(), recording.name)
    if answer.next:
        return redirect(answer.next)
    if answer.status in (200, 201):
        messages.success(request, answer.sentence)
        return redirect(home_of(request.user, enrolment))
    return _page(request, enrolment, _with_new_key(request, enrolment, form), answer)


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
            also=lambda clip: submissions.begin_review(clip, said["assignment"]),
        )
    except clip_services.SentBefore as before:
        return _ask(request, enrolment, before, said, filename)
    except OverQuota as over:
        return Answer(429, over.sentence)
    except spool.TooLarge as large:
        return too_large(large.limit_bytes + 1)
    except OSError as error:
        return of_disk(error)
    return of_clip(clip, request.user)


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
            200,
            _("This recording was sent before, as “%(clip)s”: there is one clip of it.")
            % {"clip": before.clip},
        )


def _length(request: HttpRequest) -> int:
    return figures.whole(request.headers.get("Content-Length")) or 0


def _form(request: HttpRequest, enrolment: Enrolment, *args, **kwargs) -> SendFileForm:
    by_guardian = enrolment.pupil_id != request.user.pk
    return SendFileForm(enrolment, *args, by_guardian=by_guardian, **kwargs)


def empty_form(request: HttpRequest, enrolment: Enrolment) -> SendFileForm:
    """A form for the next clip; the address may name the drill that it is of."""
    chosen = {"assignment": request.GET.get("assignment", ""), "upload_key": uuid4().hex}
    return _form(request, enrolment, initial=chosen)


def _with_new_key(request: HttpRequest, enrolment: Enrolment, form: SendFileForm) -> SendFileForm:
    """The same words with a key of their own: what is sent next is another clip."""
    return _form(request, enrolment, initial=form.data.dict() | {"upload_key": uuid4().hex})


def _sending_page(person: Person, enrolment: Enrolment) -> str:
    own = enrolment.pupil_id == person.pk
    return reverse("send") if own else reverse("child_send", args=[enrolment.pk])


def _reader(person: Person, enrolment: Enrolment) -> dict:
    """Who sends, and for whom: what the pages of sending say to a pupil and to a guardian."""
    own = enrolment.pupil_id == person.pk
    return {"area": "pupil" if own else "guardian", "enrolment": enrolment}


def _page(
    request: HttpRequest, enrolment: Enrolment, form: SendFileForm, answer: Answer | None = None
) -> HttpResponse:
    context = parts(request.user, enrolment, form) | {"sentence": answer.sentence if answer else ""}
    return render(request, "review/send.html", context, status=answer.status if answer else 200)


def parts(person: Person, enrolment: Enrolment, form: SendFileForm) -> dict:
    """What a page needs that has the form of sending in it (``review/send_form.html``)."""
    child = [] if enrolment.pupil_id == person.pk else [enrolment.pk]
    return _reader(person, enrolment) | {
        "form": form,
        "max_bytes": settings.MAX_UPLOAD_BYTES,
        "max_mb": settings.MAX_UPLOAD_BYTES // MB,
        "max_clip_s": settings.MAX_CLIP_S,
        "longest": figures.minutes_or_seconds(settings.MAX_CLIP_S),
        "endings": ENDINGS,
        "csrf_cookie": settings.CSRF_COOKIE_NAME,
        "half_sent": half_sent(person, enrolment),
        "send_at": _sending_page(person, enrolment),
        "record_at": record_at(person, enrolment),
        # By person and child: what is kept in a browser of recordings and words.
        "whose": "-".join(map(str, [person.pk, *child])),
    }

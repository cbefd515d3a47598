"""The two addresses of tus: where uploads are begun, and each upload. Thin.

Every answer carries ``Tus-Resumable``; a refusal has its sentence as plain text, also where
nobody is logged in (401: a script cannot follow to a log-in page). By session and the page's token
like all else here: a tus client sends ``Cookie`` and ``X-CSRFToken``. Beside the specification, a
PATCH may carry ``Upload-Metadata``: the words about a recording that is still on its way, as they
are now; and any request ``X-Sender`` (see :func:`.access.stranger`).
"""

import functools
import logging
from collections.abc import Callable, Iterator
from urllib.parse import quote
from uuid import UUID

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, UnreadablePostError
from django.middleware.csrf import get_token
from django.urls import reverse
from django.utils.http import http_date
from django.utils.translation import gettext as _

from studio import media
from studio.accounts import access as people
from studio.accounts.consent import ConsentMissing
from studio.clips import signals
from studio.clips.models import Upload
from studio.clips.quota import OverQuota
from studio.figures import MB
from studio.translating import gettext_lazy

from . import access, partial, protocol, services
from .protocol import Refused

log = logging.getLogger(__name__)

READ_BYTES = 1 << 16
NO_ROOM = gettext_lazy("The server has no room left. Keep the recording, and tell your teacher.")
GONE = Refused(
    404,
    gettext_lazy(
        "What had arrived of it is not there any more: nothing came for a day, or it was removed. "
        "Send it again; it begins from the start."
    ),
)


class BrokenOff(Exception):
    """The connection ended before all that was announced had come."""


def tus(*methods: str) -> Callable:
    """Let these methods in, each with the version's header; turn refusals into answers."""

    def decorate(view):
        @login_not_required  # it says so itself
        @functools.wraps(view)
        def answered(request: HttpRequest, *args, **kwargs) -> HttpResponse:
            method = protocol.method_of(request)
            if stranger := access.stranger(request):
                response = _refusal(Refused(401, stranger))
            elif method not in methods:
                response = HttpResponse(status=405, headers={"Allow": ", ".join(methods)})
            else:
                response = _answer(view, request, method, *args, **kwargs)
            response.headers["Tus-Resumable"] = protocol.VERSION
            response.headers["Cache-Control"] = "no-store"
            return response

        return answered

    return decorate


def _answer(view, request: HttpRequest, method: str, *args, **kwargs) -> HttpResponse:
    try:
        return view(request, method, *args, **kwargs)
    except Refused as refused:
        return _refusal(refused)
    except ConsentMissing as missing:
        return _refusal(Refused(403, missing.sentence))
    except Http404:
        return _refusal(GONE)


def _refusal(refused: Refused) -> HttpResponse:
    response = HttpResponse(refused.sentence, "text/plain; charset=utf-8", refused.status)
    response.headers["X-Sentence"] = quote(refused.sentence)  # an answer to HEAD has no body
    if refused.status == protocol.CHECKSUM_MISMATCH:
        response.reason_phrase = _("Checksum Mismatch")
    for name, value in refused.headers.items():
        response.headers[name] = value
    return response


@tus("OPTIONS", "POST")
def uploads(request: HttpRequest, method: str, place_pk: int | None = None) -> HttpResponse:
    """OPTIONS says what this server can; POST begins an upload, perhaps with its first bytes.

    To the pupil's own place, or to that of a guardian's child.
    """
    place = people.sending_enrolment(request.user, place_pk)
    if method == "OPTIONS":
        return HttpResponse(status=204, headers=_abilities())
    protocol.check_version(request)
    if "Upload-Defer-Length" in request.headers:
        raise Refused(400, _("The length must be known from the start: send Upload-Length alone."))
    length, carried = protocol.size(request, "Upload-Length"), _carried(request)
    if max(length, carried) > settings.MAX_UPLOAD_BYTES:
        raise Refused(413, _too_large(max(length, carried)))
    if carried > length:
        raise Refused(
            413,
            _("The body has %(carried)s bytes; Upload-Length allows %(length)s.")
            % {"carried": carried, "length": length},
        )
    upload = _begin(request, place, length)
    if carried and upload.offset_bytes == 0:
        _write(request, upload, 0)
    _finish(upload)
    headers = _state(upload) | {"Location": reverse("upload", args=[upload.pk])}
    return HttpResponse(status=201, headers=headers)


@tus("OPTIONS", "HEAD", "PATCH", "DELETE")
def upload(request: HttpRequest, method: str, upload_id: UUID) -> HttpResponse:
    """One upload: how far it is, its next bytes, its end."""
    found = access.upload_for(request.user, upload_id)
    if method == "OPTIONS":
        return HttpResponse(status=204, headers=_abilities())
    protocol.check_version(request)
    return {"HEAD": _head, "PATCH": _patch, "DELETE": _delete}[method](request, found)


def _head(request: HttpRequest, upload: Upload) -> HttpResponse:
    get_token(request)  # a page that was logged out goes on with the new cookie
    said = {"Upload-Metadata": upload.metadata} if upload.metadata else {}
    length = {"Upload-Length": str(upload.length_bytes)}
    return HttpResponse(status=200, headers=_state(upload) | length | said)


def _patch(request: HttpRequest, upload: Upload) -> HttpResponse:
    if not protocol.carries_bytes(request):
        raise Refused(
            415, _("The body must be %(CONTENT_TYPE)s.") % {"CONTENT_TYPE": protocol.CONTENT_TYPE}
        )
    offset, coming = protocol.size(request, "Upload-Offset"), protocol.body_length(request)
    if offset != upload.offset_bytes:
        raise _differs(upload.offset_bytes)
    if offset + coming > upload.length_bytes:
        left = upload.length_bytes - offset
        raise Refused(
            413,
            _("%(coming)s bytes are too many: %(left)s are missing to the whole.")
            % {"coming": coming, "left": left},
        )
    if (metadata := protocol.metadata(request)) is not None:
        _acceptable(lambda: services.say_anew(upload, metadata))
    if coming:
        _write(request, upload, offset)
    _finish(upload)
    return HttpResponse(status=204, headers=_state(upload))


def _delete(request: HttpRequest, upload: Upload) -> HttpResponse:
    services.forget(upload)
    return HttpResponse(status=204)


# -- steps -----------------------------------------------------------------------------------


def _begin(request: HttpRequest, place, length: int) -> Upload:
    metadata = protocol.metadata(request) or ""
    try:
        return _acceptable(lambda: services.begin(place, request.user, length, metadata))
    except services.TooMany:
        most = settings.MAX_UNFINISHED_UPLOADS
        waiting = (
            _("1 half-sent recording is")
            if most == 1
            else _("%(most)s half-sent recordings are") % {"most": most}
        )
        raise Refused(
            429,
            _(
                "%(waiting)s waiting already, and that is the most. Go on with one, or "
                "remove one; then send this one."
            )
            % {"waiting": waiting},
        ) from None
    except OverQuota as over:
        raise Refused(429, over.sentence) from None
    except services.KeyUsed:
        raise Refused(400, _("This key belongs to another recording; take a new one.")) from None
    except services.Gone:
        raise GONE from None
    except OSError as error:
        raise _disk(error) from error


def _write(request: HttpRequest, upload: Upload, offset: int) -> None:
    """Add the request's body to the upload; what goes wrong leaves an honest offset."""
    checksum = protocol.checksum(request)
    try:
        services.write(upload, offset, _chunks(request), checksum)
    except services.OffsetDiffers as differs:
        raise _differs(differs.offset_bytes) from None
    except services.BadChecksum:
        raise Refused(
            protocol.CHECKSUM_MISMATCH,
            _("The bytes changed on their way; they were discarded. Send them again."),
            _state(upload),
        ) from None
    except partial.Busy:
        raise Refused(
            423, _("Another connection is sending this recording; wait a little.")
        ) from None
    except (services.Gone, partial.Missing):
        raise GONE from None
    except BrokenOff:
        raise Refused(
            400, _("The connection broke off; go on from here."), _state(upload)
        ) from None
    except OSError as error:
        raise _disk(error, _state(upload)) from error


def _finish(upload: Upload) -> None:
    """The clip, if this was the last byte. Where that fails all is kept, and the sweep tries."""
    if not upload.is_whole or upload.clip_id:
        return
    try:
        services.finish(upload)
    except services.Gone:
        raise GONE from None
    except OSError as error:
        log.error("upload %s is whole but could not become a clip yet: %s", upload.pk, error)


def _acceptable(action: Callable):
    try:
        return action()
    except signals.Unacceptable as unacceptable:
        raise Refused(422, str(unacceptable)) from None


def _carried(request: HttpRequest) -> int:
    return protocol.body_length(request) if protocol.carries_bytes(request) else 0


def _chunks(request: HttpRequest) -> Iterator[bytes]:
    left = protocol.body_length(request)
    while left > 0:
        try:
            chunk = request.read(min(READ_BYTES, left))
        except UnreadablePostError as broken:
            raise BrokenOff from broken
        if not chunk:
            raise BrokenOff
        left -= len(chunk)
        yield chunk


# -- headers and sentences -------------------------------------------------------------------


def _abilities() -> dict[str, str]:
    return {
        "Tus-Version": protocol.VERSION,
        "Tus-Extension": protocol.EXTENSIONS,
        "Tus-Max-Size": str(settings.MAX_UPLOAD_BYTES),
        "Tus-Checksum-Algorithm": ",".join(protocol.ALGORITHMS),
    }


def _state(upload: Upload) -> dict[str, str]:
    state = {"Upload-Offset": str(upload.offset_bytes)}
    if upload.clip_id is None:
        state["Upload-Expires"] = http_date(upload.expires_at.timestamp())
    return state


def _differs(offset_bytes: int) -> Refused:
    headers = {"Upload-Offset": str(offset_bytes)}
    return Refused(
        409,
        _("%(offset_bytes)s bytes are here; go on from there.") % {"offset_bytes": offset_bytes},
        headers,
    )


def _disk(error: OSError, headers: dict[str, str] | None = None) -> Refused:
    log.error("an upload could not be stored: %s", error)
    if error.errno in partial.FULL:
        return Refused(507, NO_ROOM, headers)
    return Refused(
        503, _("It could not be stored just now; that is our fault. Send it again later."), headers
    )


def _too_large(size_bytes: int) -> str:
    return media.Refused(
        "too_many_bytes",
        size_mb=-(-size_bytes // MB),
        limit_mb=settings.MAX_UPLOAD_BYTES // MB,
    ).sentence

"""The files of a clip, for those who may see it. Only what we made is served."""

import logging
from functools import partial
from pathlib import PurePosixPath
from uuid import UUID

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from studio.clips.storage.stores import store

from . import access, viewings
from .models import Clip, ClipFile, Rendition
from .storage import ranges, spool

log = logging.getLogger(__name__)


@require_safe
def media(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    """The playable copy, with Range. Who may watch is asked anew at every request."""
    return _watched(request, clip_id, Rendition.Kind.PLAYABLE)


@require_safe
def small(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    """The smaller picture, for slow connections; as :func:`media`."""
    return _watched(request, clip_id, Rendition.Kind.SMALL)


@require_safe
def poster(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    return _serve(request, access.clip_for(request.user, clip_id), Rendition.Kind.POSTER)


@require_safe
def peaks(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    return _serve(request, access.clip_for(request.user, clip_id), Rendition.Kind.PEAKS)


def _watched(request: HttpRequest, clip_id: UUID, kind: str) -> HttpResponse:
    """The recording itself; who gets it is noted, whoever sends its bytes, we or nginx."""
    clip = access.clip_for(request.user, clip_id)
    response = _serve(request, clip, kind)
    if request.method == "GET":
        viewings.note(clip, request.user)
    return response


def _serve(request: HttpRequest, clip: Clip, kind: str) -> HttpResponse:
    rendition = clip.rendition(kind)
    if rendition is None:
        raise Http404
    name = f"clip-{clip.created_at.date().isoformat()}{PurePosixPath(rendition.path).suffix}"
    return serve(request, rendition, rendition.content_type, name)


def serve(
    request: HttpRequest,
    stored: ClipFile | spool.Stored,
    content_type: str,
    name: str,
    *,
    attached: bool = False,
) -> HttpResponse:
    """A file that we made, to somebody who may have it, under a name of ours.

    ``attached``: to be kept, and not shown.
    """
    if settings.MEDIA_BY_NGINX:
        response = _by_nginx(stored, content_type)
    else:
        response = _by_ourselves(request, stored, content_type)
    response["Content-Disposition"] = content_disposition_header(attached, name)
    response["Cache-Control"] = "private, no-cache"
    response["X-Content-Type-Options"] = "nosniff"
    return response


def _by_nginx(stored: ClipFile | spool.Stored, content_type: str) -> HttpResponse:
    """Who may have the file has been settled; nginx sends it, or the part that was asked for."""
    headers = {"X-Accel-Redirect": f"/stored/{stored.path}"}
    return HttpResponse(content_type=content_type, headers=headers)


def _by_ourselves(
    request: HttpRequest, stored: ClipFile | spool.Stored, content_type: str
) -> HttpResponse:
    try:
        return ranges.serve(
            request,
            partial(store().read, stored.path),
            stored.size_bytes,
            content_type,
            stored.sha256,
        )
    except FileNotFoundError:
        log.error("%s has no file; run verify", stored.path)
        raise Http404 from None

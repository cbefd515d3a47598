"""What the desk plays by: when each frame is shown, and the target of a double stop, to be heard.

``GET /clips/<uuid>/desk/frames.json`` is fetched when a frame is first stepped to::

    {"schema": 1, "unit_s": 0.0001, "steps": [0, 667, 666, 667]}

``steps`` are differences to the frame before, in units, so that rounding does not add up; they
begin at 0. Empty where there is no picture, or where the copy's tables cannot be read: then the
page steps by the clip's average rate. 404 while there is no playable copy.

``GET /clips/<uuid>/desk/target/<event>.json`` answers what it is called and both
notes in Hz: ``{"name": "octave D5–D6", "hz": [587.3, 1174.7]}``. The note that need not move stays
where it was heard; the other stands at the target's distance from it.
"""

import logging

import numpy as np
from django.http import Http404, HttpRequest, JsonResponse
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET

from studio.clips.models import Rendition
from studio.clips.storage.stores import store
from studio.media import frame_times
from studio.review.marks.judging import judged
from studio.review.marks.targets import Targets
from studio.review.models import Review

from .exchanges import on_desk

log = logging.getLogger(__name__)

SCHEMA = 1
UNIT_S = 0.0001  # a frame at 60 a second lasts 167 of them


@require_GET
@gzip_page
@on_desk
def frames(request: HttpRequest, review: Review) -> JsonResponse:
    copy = review.clip.renditions.filter(kind=Rendition.Kind.PLAYABLE).first()
    if copy is None:
        raise Http404
    ticks = np.rint(_times(copy) / UNIT_S).astype(int)
    steps = np.diff(ticks, prepend=0).tolist()
    answer = {"schema": SCHEMA, "unit_s": UNIT_S, "steps": steps}
    return JsonResponse(answer, json_dumps_params={"separators": (",", ":")})


def _times(copy: Rendition) -> np.ndarray:
    def read(first: int, length: int) -> bytes:
        length = min(length, copy.size_bytes - first)
        return b"".join(store().read(copy.path, first, length)) if length > 0 else b""

    try:
        return frame_times(read)
    except (FileNotFoundError, ValueError) as error:
        log.error("%s has no frame times: %s; run verify", copy.path, error)
        return np.zeros(0)


@require_GET
@on_desk
def target(request: HttpRequest, review: Review, event: int) -> JsonResponse:
    """The two frequencies in Hz; 404 where there is no agreed target."""
    found = judged(review)
    answer = Targets(found).of_event(event) if found else None
    if answer is None:
        raise Http404
    said = answer.to_dict()
    return JsonResponse({"name": said["name"], "hz": said["hz"]})

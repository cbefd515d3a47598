"""Taking in a recording: to the bench, examined by its content, and refused in a sentence."""

import logging
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from django.utils.translation import gettext as _

from studio import media
from studio.clips.storage import spool
from studio.figures import MB
from studio.translating import gettext_lazy

log = logging.getLogger(__name__)

MAX_BYTES = 100 * MB
MAX_S = 180.0
BOUNDS = gettext_lazy("At most 3 minutes and 100 MB.")


class NotTaken(Exception):
    """Why a recording cannot be used, in a sentence that says what to do."""


@dataclass(frozen=True, slots=True)
class Recording:
    """A whole recording on the bench, and what its content is.

    ``info`` is None where nothing could look at it, for a reason of ours (``why``); then a worker
    does, and ``has_video`` is what the browser said.
    """

    spooled: spool.Spooled
    info: media.MediaInfo | None
    has_video: bool
    why: media.Failed | None = None


def limits() -> media.Limits:
    return media.Limits(max_bytes=MAX_BYTES, max_duration_s=MAX_S)


@contextmanager
def received(chunks: Iterable[bytes], content_type: str = "") -> Iterator[Recording]:
    """A recording that came; what was not kept by the end of the context is removed.

    ``content_type`` is the browser's word, which counts only where the content cannot be looked at.

    Raises
    ------
    NotTaken
        When it cannot be used. Nothing is kept.
    """
    try:
        spooled = spool.spool(chunks, MAX_BYTES)
    except spool.TooLarge as error:
        size = {
            "size_mb": _("more than %(max_bytes)s") % {"max_bytes": MAX_BYTES // MB},
            "limit_mb": MAX_BYTES // MB,
        }
        raise NotTaken(media.Refused("too_many_bytes", **size).sentence) from error
    try:
        yield _examined(spooled, content_type)
    finally:
        spooled.path.unlink(missing_ok=True)


def _examined(spooled: spool.Spooled, content_type: str) -> Recording:
    try:
        info = media.probe(spooled.path, limits())
    except media.Refused as error:
        raise NotTaken(error.sentence) from error
    except media.Failed as failed:
        log.error("a reply could not be looked at: %s %s", failed.code, failed.detail)
        return Recording(spooled, None, not content_type.startswith("audio/"), failed)
    return Recording(spooled, info, info.has_video)

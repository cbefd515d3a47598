"""What became of a sending, for the page that sent it: a status, a sentence, where to go."""

import errno
import logging
from dataclasses import dataclass

from django.conf import settings

from studio import media
from studio.clips import sentences
from studio.clips.models import Clip
from studio.figures import MB

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
    "All of your recording has arrived and is kept. It could not be opened just now; that is "
    "tried again by itself, and you need not send it again.",
)
UNSEEN = (
    "Your clip has arrived and is kept. It could not be opened just now; that is our fault. It is "
    "tried again by itself, and you need not send it again."
)


def of_clip(clip: Clip) -> Answer:
    """Arrived, with what the pupil should know at once; or refused."""
    if clip.intake == Clip.Intake.REFUSED:
        return Answer(422, sentences.refusal(clip), clip)
    if clip.is_unseen:
        return Answer(201, UNSEEN, clip)
    if not clip.has_audio:
        return Answer(201, f"Your clip has arrived. {sentences.sentence('no_sound', {})}", clip)
    return Answer(201, "Your clip has arrived. Your teacher can see it now.", clip)


def of_disk(error: OSError) -> Answer:
    log.exception("a recording could not be stored")
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return Answer(
            507, "The server has no room left. Keep the recording, and tell your teacher."
        )
    return Answer(503, "It could not be stored just now; that is our fault. Send it again later.")


def too_large(size_bytes: int) -> Answer:
    refused = media.Refused(
        "too_many_bytes",
        size_mb=-(-size_bytes // MB),
        limit_mb=settings.MAX_UPLOAD_BYTES // MB,
    )
    return Answer(413, refused.sentence)

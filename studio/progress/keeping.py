"""The short rows that pages compare, kept in step with what they follow from.

A row is written in the transaction in which a clip is returned, or one that was returned is heard
anew; it goes in the one in which a return is taken back, or the clip erased. After a return nobody
decides anything about a clip, so nothing else can change it. Where that failed, or the layout is
another one, the sweep writes it.
"""

import logging
import time

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet

from studio.clips.models import Listening
from studio.review.marks.judging import judged
from studio.review.models import Review

from .gathering import gathered
from .models import ClipFigures, packed
from .playings import LAYOUT, PlayedClip

log = logging.getLogger(__name__)

AT_ONCE = 10  # clips a sweep: about a second of work
REST_S = 600.0  # chosen

_rests_until = 0.0


def keep(review: Review) -> None:
    """Write the row of a returned clip; what goes wrong here stops nobody from returning it."""
    try:
        with transaction.atomic():
            _write(review)
    except Exception:  # the sweep tries it once more
        log.exception("the figures of clip %s could not be gathered", review.clip_id)


def keep_if_returned(listening: Listening) -> None:
    """What was heard anew of a returned clip takes the place of what was heard before."""
    review = Review.objects.filter(clip=listening.clip_id, state=Review.State.RETURNED).first()
    if review is not None:
        keep(review)


def forget(clip_id: object) -> None:
    ClipFigures.objects.filter(clip=clip_id).delete()


def missing() -> QuerySet[Review]:
    """Returned clips that were heard and have no row of this layout."""
    rows = ClipFigures.objects.filter(clip=OuterRef("clip"), layout=LAYOUT)
    heard = Listening.objects.filter(clip=OuterRef("clip"))
    return Review.objects.filter(
        ~Exists(rows), Exists(heard), state=Review.State.RETURNED, clip__erased_at=None
    )


def keep_missing(most: int = AT_ONCE) -> int:
    """Write some of the rows that are missing, the newest clips first; how many."""
    found = missing().select_related(
        "clip__enrolment__pupil", "clip__enrolment__studio", "answers__version"
    )
    reviews = list(found.order_by("-clip__created_at")[:most])
    for review in reviews:
        keep(review)
        if not ClipFigures.objects.filter(clip=review.clip_id, layout=LAYOUT).exists():
            _write_nothing(review)  # or every sweep would stand still at it
    return len(reviews)


def keep_missing_at_times() -> int:
    """The same for a sweep: once none is missing, this process looks again only after a while.

    To find that nothing is missing, every returned clip is looked at, and a sweep comes every few
    seconds; a row that is missing makes a page miss one clip for so long.
    """
    global _rests_until
    if time.monotonic() < _rests_until:
        return 0
    many = keep_missing()
    if not many:
        _rests_until = time.monotonic() + REST_S
    return many


def _write(review: Review) -> None:
    found = judged(review)
    if found is None:
        return
    _put(found.listening, gathered(found))


def _put(listening: Listening, clip: PlayedClip) -> None:
    made_from = {
        "listening": listening,
        "layout": LAYOUT,
        "generation": listening.generation,
    }
    ClipFigures.objects.update_or_create(
        clip_id=listening.clip_id, defaults=made_from | packed(clip)
    )


def _write_nothing(review: Review) -> None:
    listening = Listening.objects.filter(clip=review.clip_id).defer("measurement").last()
    if listening is not None:
        _put(listening, PlayedClip.empty(review.clip_id, review.clip.created_at.date()))

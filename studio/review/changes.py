"""What every change of a review goes through: its lock, why it may be refused, the studio's log."""

from django.utils.translation import gettext as _

from studio.accounts import audit
from studio.accounts.models import Person

from . import idempotency
from .models import Review


class Conflict(Exception):
    """Somebody else changed it first. ``theirs`` is what stands now; nothing was overwritten."""

    def __init__(self, theirs: str):
        super().__init__(_("it was changed in the meantime; both texts are kept"))
        self.theirs = theirs


class AlreadyReturned(Exception):
    """The clip was returned; what was returned stays as it is."""


def record(act: str, review: Review, by: Person, detail: str = "") -> None:
    """Note in the studio's log what somebody did with a clip; in the act's transaction."""
    place, clip = review.clip.enrolment, review.clip_id
    audit.record(act, by=by, studio=place.studio, about=place.pupil, clip=clip, detail=detail)


def with_plain_newlines(text: str) -> str:
    """Browsers end the lines of a form with CR LF, whatever ends them in the database."""
    return text.replace("\r\n", "\n").strip()


def lock_unreturned(review: Review) -> Review:
    """The review's row, locked for this transaction: every change at the desk begins here.

    Raises
    ------
    AlreadyReturned
        When the clip was returned in the meantime.
    CarriedOut
        When the press that makes the change was carried out already.
    """
    locked = Review.objects.select_for_update().get(pk=review.pk)
    if locked.state == Review.State.RETURNED:
        raise AlreadyReturned(
            _("clip %(clip_id)s was returned; it can no longer be changed")
            % {"clip_id": locked.clip_id}
        )
    idempotency.note(locked)
    return locked

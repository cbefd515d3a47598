"""What teachers arrange about a clip that waits: who takes it, and until when it rests.

Colleagues share one list. Taking a clip says who will answer it; it locks nothing. The first who
takes it has it: who comes second is told, and may then take it over knowingly.
"""

from datetime import datetime

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts import access as people
from studio.accounts.models import Membership, Person, Studio
from studio.review.models import Review

Role = Membership.Role


class TakenAlready(Exception):
    """A colleague has it. ``by`` is who."""

    def __init__(self, by: Person):
        super().__init__(_("%(by)s has taken it") % {"by": by})
        self.by = by


def take(review: Review, teacher: Person, over: int | None = None) -> None:
    """Take a clip; from a colleague (``over``, the person's number) only if that one still has it.

    Raises
    ------
    TakenAlready
        When somebody else has it.
    """
    free = Q(taken_by=None) | Q(taken_by=teacher)
    if over is not None:
        free |= Q(taken_by=over)
    if not _unreturned(review).filter(free).update(taken_by=teacher, taken_at=timezone.now()):
        review.refresh_from_db(fields=["taken_by", "state"])
        if review.taken_by is not None:
            raise TakenAlready(review.taken_by)


def let_go(review: Review, teacher: Person) -> None:
    """Give a clip back to everybody, if ``teacher`` has it."""
    _unreturned(review).filter(taken_by=teacher).update(taken_by=None, taken_at=None)


def let_all_go(teacher: Person, studio: Studio) -> None:
    """Everything that ``teacher`` has taken in a studio and not answered is free again."""
    taken = Review.objects.filter(taken_by=teacher, clip__enrolment__studio=studio)
    taken.exclude(state=Review.State.RETURNED).update(taken_by=None, taken_at=None)


def hand_over(review: Review, teacher: Person, colleague: Person) -> None:
    """Give a clip that is free, or one's own, to a colleague.

    Raises
    ------
    TakenAlready
        When somebody else has it.
    ValueError
        When ``colleague`` does not teach in the clip's studio today.
    """
    studio = review.clip.enrolment.studio
    if colleague not in teachers_of(studio):
        raise ValueError(f"{colleague} does not teach at {studio} today; choose somebody who does")
    free = Q(taken_by=None) | Q(taken_by=teacher) | Q(taken_by=colleague)
    if not _unreturned(review).filter(free).update(taken_by=colleague, taken_at=timezone.now()):
        review.refresh_from_db(fields=["taken_by", "state"])
        if review.taken_by is not None:
            raise TakenAlready(review.taken_by)


def snooze(review: Review, until: datetime | None) -> None:
    """Let a clip rest until a time; ``None`` brings it back at once."""
    _unreturned(review).update(snoozed_until=until)


def teachers_of(studio: Studio):
    """Who can answer the clips of a studio."""
    return people.members_of(studio, Role.TEACHER)


def _unreturned(review: Review):
    return Review.objects.filter(pk=review.pk).exclude(state=Review.State.RETURNED)

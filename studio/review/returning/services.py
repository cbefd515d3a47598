"""Returning a clip: the summary and the drills that go with it, the return, and taking it back."""

from datetime import date, timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts import audit
from studio.accounts.models import Person
from studio.drills.models import Assignment, DrillVersion
from studio.drills.services import set_drill
from studio.review import signals
from studio.review.changes import Conflict, lock_unreturned, record, with_plain_newlines
from studio.review.marks.judging import judged
from studio.review.models import Return, Review

from . import moments, snapshots


class TooLate(Exception):
    """The delay has ended: the pupil can see what was returned, so it stays."""


@transaction.atomic
def set_drill_with_clip(
    review: Review,
    version: DrillVersion,
    teacher: Person,
    due_on: date | None,
    goal: str,
    **figures: int | None,
) -> Assignment:
    """Set a drill with this clip: the pupil finds it in the queue once the clip is returned.

    ``figures`` are those of :func:`studio.drills.services.set_drill`. The same version a second
    time is the same assignment, with the new due date and goal.
    """
    goals = {"due_on": due_on, "goal": goal, **figures}
    lock_unreturned(review)
    again = review.drills_set.filter(version=version, published_at=None).first()
    if again is not None:
        for name, value in goals.items():
            setattr(again, name, value)
        again.save(update_fields=list(goals))
        return again
    assignment = set_drill(version, review.clip.enrolment, teacher, **goals)
    review.drills_set.add(assignment)
    return assignment


@transaction.atomic
def unset_drill_with_clip(review: Review, assignment: Assignment) -> None:
    """Take back a drill that was set with this clip and is not returned yet."""
    lock_unreturned(review)
    review.drills_set.filter(pk=assignment.pk, published_at=None).delete()


@transaction.atomic
def save_summary(review: Review, summary: str, seen: str | None = None) -> None:
    """Keep the summary that the return will carry, if the one that was ``seen`` still stands.

    Raises
    ------
    Conflict
        When another was saved in the meantime. Without ``seen`` this is not asked.
    """
    standing, wanted = lock_unreturned(review).summary, summary.strip()
    if seen is not None and with_plain_newlines(standing) not in (
        with_plain_newlines(seen),
        with_plain_newlines(wanted),
    ):
        raise Conflict(standing)
    Review.objects.filter(pk=review.pk).update(summary=wanted)


@transaction.atomic
def return_clip(review: Review, teacher: Person, summary: str, *, site: str = "") -> Return:
    """Freeze what the pupil will see, and take the clip off the list.

    Pupil and guardians see it, and the drills set with it, once the studio's delay has ended;
    until then :func:`take_back_return` undoes it. ``site`` is the studio's address (scheme and
    host), for the letter that tells them.
    """
    review = lock_unreturned(review)
    review.summary = summary.strip()
    now = timezone.now()
    returned = Return.objects.create(
        review=review,
        returned_by=teacher,
        returned_at=now,
        visible_at=now + timedelta(minutes=review.clip.enrolment.studio.return_delay_min),
        site=site,
        snapshot=snapshots.take(review, judged(review)),
    )
    review.drills_set.filter(published_at=None).update(published_at=returned.visible_at)
    moments.keep(returned)
    review.intervals = moments.intervals_in(returned.snapshot)
    review.state = Review.State.RETURNED
    review.save(update_fields=["state", "summary", "intervals"])
    record(audit.Act.RETURNED, review, teacher)
    signals.returned.send(sender=Review, review=review)
    return returned


@transaction.atomic
def take_back_return(review: Review, by: Person | None = None) -> None:
    """Undo a return whose delay has not ended: the review is open again as it was.

    Raises
    ------
    TooLate
        When the pupil can see it already.
    """
    returned = _lock_pending(review)
    if returned is None:  # taken back already, here or in another tab
        return
    review.drills_set.filter(published_at=returned.visible_at).update(published_at=None)
    returned.delete()
    Review.objects.filter(pk=review.pk).update(state=Review.State.OPEN)
    record(audit.Act.RETURN_TAKEN_BACK, review, by or returned.returned_by)
    signals.return_taken_back.send(sender=Review, review=review)


@transaction.atomic
def send_return_now(review: Review) -> None:
    """End a return's delay at once. One that is visible already stays as it is."""
    try:
        returned = _lock_pending(review)
    except TooLate:
        return
    if returned is None:
        return
    now = timezone.now()
    review.drills_set.filter(published_at=returned.visible_at).update(published_at=now)
    Return.objects.filter(pk=returned.pk).update(visible_at=now)


def _lock_pending(review: Review) -> Return | None:
    """The return of a review, both locked; ``None`` where there is none.

    Raises
    ------
    TooLate
        When its delay has ended.
    """
    Review.objects.select_for_update().get(pk=review.pk)
    returned = Return.objects.select_for_update().filter(review=review).first()
    if returned is not None and returned.is_visible:
        raise TooLate(
            _("clip %(clip_id)s was returned and can be seen") % {"clip_id": review.clip_id}
        )
    return returned

"""What a teacher does to a clip, and what sending and returning change."""

from copy import copy
from dataclasses import dataclass
from datetime import date, timedelta

from django.db import transaction
from django.utils import timezone

from studio.accounts import audit
from studio.accounts.models import Person
from studio.clips.models import Clip, Listening
from studio.drills.models import Assignment, DrillVersion
from studio.drills.services import set_drill

from . import acts, snapshots
from .judging import judge_listening, judged
from .marks import Mark, decided
from .models import Comment, Decision, Return, Review


class Conflict(Exception):
    """Somebody else changed it first. ``theirs`` is what stands now; nothing was overwritten."""

    def __init__(self, theirs: str):
        super().__init__("it was changed in the meantime; both texts are kept")
        self.theirs = theirs


class AlreadyReturned(Exception):
    """The clip was returned; what was returned stays as it is."""


class TooLate(Exception):
    """The delay has ended: the pupil can see what was returned, so it stays."""


@dataclass(frozen=True, slots=True)
class CommentText:
    """What a comment says: kind, text, its moment or span in seconds, and the note it is about."""

    kind: str
    text: str
    start_s: float
    end_s: float | None = None
    score_ref: str = ""


def begin_review(clip: Clip, answers: Assignment | None = None) -> Review:
    """Put a received clip on the waiting list; ``answers`` is the assignment it answers."""
    review, _ = Review.objects.get_or_create(clip=clip)
    if answers is not None and review.answers_id != answers.pk:
        review.answers = answers
        review.save(update_fields=["answers"])
    return review


def note_heard(listening: Listening) -> None:
    """Keep what the waiting list shows of a new listening."""
    review = begin_review(listening.clip)
    found = judge_listening(review, listening)
    Review.objects.filter(pk=review.pk).update(
        double_stops_heard=found.double_stops, marks_found=len(found.judgement["marks"])
    )


def open_review(review: Review) -> None:
    """The teacher has opened the clip for the first time; a review never waits again."""
    if review.state != Review.State.WAITING:
        return
    Review.objects.filter(pk=review.pk, state=Review.State.WAITING).update(
        state=Review.State.OPEN, opened_at=timezone.now()
    )


@transaction.atomic
def decide(
    review: Review,
    listening: Listening,
    mark: Mark,
    choice: str,
    teacher: Person,
    words: str | None = "",
    *,
    span: tuple[float, float] | None = None,
    seen: int | None = None,
    was: str | None = None,
) -> Decision | None:
    """Keep or drop a mark, perhaps in other words; an empty ``choice`` takes a decision back.

    Without ``words`` those that stand stay, and so does the span. ``span`` is the teacher's own, in
    seconds, instead of the mark's. ``seen`` is the decision that was on the page, if there was one,
    and ``was`` its words, where the page knows them better than the decision's number.

    Raises
    ------
    Conflict
        When words that were not seen would be lost: somebody wrote them in the meantime.
    """
    lock_unreturned(review)
    standing = decided(mark, review.decisions.all())
    if standing is not None and _is_unseen(standing, teacher, words, seen, was):
        raise Conflict(standing.words)
    if words is None and standing is not None:
        if standing.choice == choice:
            return standing
        words, span = standing.words, standing.own_span
    before = copy(standing)
    if standing is not None:
        standing.delete()
    decision = None
    if choice:
        decision = Decision.objects.create(
            review=review,
            listening=listening,
            choice=Decision.Choice(choice),
            code=mark.code,
            start_s=mark.start_s,
            end_s=mark.end_s,
            midis=list(mark.midis),
            sentence=mark.sentence,
            words=(words or "").strip(),
            own_start_s=span[0] if span else None,
            own_end_s=span[1] if span else None,
            decided_by=teacher,
        )
    acts.remember([(mark.about, before, decision)])
    return decision


@transaction.atomic
def undo_decision(review: Review, teacher: Person, key: str) -> list[Decision | int] | None:
    """Take back what a teacher decided with the press of a key.

    The decisions that stand again, and the numbers of those that are gone; ``None`` where there is
    nothing to take back.
    """
    lock_unreturned(review)
    act = acts.decided(review, teacher).filter(key=key).first()
    return None if act is None else acts.take_back(act)


@transaction.atomic
def forget_decision(review: Review, decision_id: int) -> None:
    """Let go of a decision whose moment is not marked any more; gone already is no error."""
    lock_unreturned(review)
    Decision.objects.filter(pk=decision_id, review=review).delete()


@transaction.atomic
def add_comment(review: Review, author: Person, said: CommentText, form_key: str = "") -> Comment:
    """Add a comment; the same ``form_key`` twice makes one comment, with the later words."""
    lock_unreturned(review)
    fields = {
        "author": author,
        "kind": said.kind,
        "text": said.text,
        "start_s": said.start_s,
        "end_s": said.end_s,
        "score_ref": said.score_ref,
    }
    if not form_key:
        return Comment.objects.create(review=review, **fields)
    comment, made = Comment.objects.get_or_create(review=review, form_key=form_key, defaults=fields)
    if not made and comment.author == author and comment.version == 1 and _differs(comment, said):
        # The answer to the first press was lost, and the words were changed before the next.
        return edit_comment(comment, said, version=1)
    return comment


@transaction.atomic
def edit_comment(
    comment: Comment, said: CommentText, version: int, was: str | None = None
) -> Comment:
    """Change a comment, if it is the ``version`` that was read, or says what it ``was``.

    Raises
    ------
    Conflict
        When it was edited in the meantime.
    """
    lock_unreturned(comment.review)
    standing = Comment.objects.get(pk=comment.pk)
    if was is not None and _plain(standing.text) == _plain(was):
        version = standing.version
    changed = Comment.objects.filter(pk=comment.pk, version=version).update(
        kind=said.kind,
        text=said.text,
        start_s=said.start_s,
        end_s=said.end_s,
        score_ref=said.score_ref,
        version=version + 1,
        edited_at=timezone.now(),
    )
    comment.refresh_from_db()
    if not changed:
        raise Conflict(comment.text)
    return comment


@transaction.atomic
def delete_comment(comment: Comment) -> None:
    lock_unreturned(comment.review)
    comment.delete()


@transaction.atomic
def set_drill_here(
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
def unset_drill_here(review: Review, assignment: Assignment) -> None:
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
    if seen is not None and _plain(standing) not in (_plain(seen), _plain(wanted)):
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
    review.state = Review.State.RETURNED
    review.save(update_fields=["state", "summary"])
    record(audit.Act.RETURNED, review, teacher)
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


def record(act: str, review: Review, by: Person, detail: str = "") -> None:
    """Note in the studio's log what somebody did with a clip; in the act's transaction."""
    place, clip = review.clip.enrolment, review.clip_id
    audit.record(act, by=by, studio=place.studio, about=place.pupil, clip=clip, detail=detail)


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


def _is_unseen(
    standing: Decision, teacher: Person, words: str | None, seen: int | None, was: str | None
) -> bool:
    """Whether a standing decision has words that its page did not show and that would be lost."""
    if not standing.words or standing.pk == seen:
        return False
    if words is None:  # nothing is lost; but a colleague's words are read before they are kept
        return standing.decided_by_id != teacher.pk
    return _plain(standing.words) not in (_plain(words), _plain(was or ""))


def _plain(text: str) -> str:
    """Browsers end the lines of a form with CR LF, whatever ends them in the database."""
    return text.replace("\r\n", "\n").strip()


def _differs(comment: Comment, said: CommentText) -> bool:
    names = ("kind", "text", "start_s", "end_s", "score_ref")
    return any(getattr(comment, name) != getattr(said, name) for name in names)


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
        raise TooLate(f"clip {review.clip_id} was returned and can be seen")
    return returned


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
        raise AlreadyReturned(f"clip {locked.clip_id} was returned; it can no longer be changed")
    acts.note(locked)
    return locked

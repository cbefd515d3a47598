"""Returning a batch at once: clips in which nothing was found and nothing was asked.

Each gets its own summary and goes the way of every return, only while it is as it was looked at.
A reply that the teacher recorded before can go along as an example: the same recording with several
clips is one example. A copy goes with each clip, taken in as any reply is, so that erasing one clip
leaves the others whole.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.http import Http404
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts.consent import ConsentMissing
from studio.accounts.models import Person
from studio.clips.storage.stores import store
from studio.review import access, comments
from studio.review.changes import with_plain_newlines
from studio.review.comments import CommentText
from studio.review.enclosures.intake import NotTaken, Recording, received
from studio.review.enclosures.services import enclose
from studio.review.marks.judging import judged
from studio.review.models import EnclosedFile, Enclosure, Return, Review
from studio.translating import gettext_lazy

from . import services

LONGEST_SUMMARY = 4000
NO_LONGER_THERE = gettext_lazy("It is no longer there.")
CHANGED = gettext_lazy(
    "It was changed at the desk, or listened to again, in the meantime. Look at it again."
)
NO_WORDS = gettext_lazy("The example alone is not returned. Say something with it, or take it off.")


class LeftOut(Exception):
    """This clip was not returned; why, in a sentence. ``review`` is what can still be opened."""

    def __init__(self, sentence: str, review: Review | None = None):
        super().__init__(sentence)
        self.sentence, self.review = sentence, review


@dataclass(frozen=True, slots=True)
class Wanted:
    """What was sent for one clip; ``seen`` is how it stood on the page (:func:`standing`)."""

    clip_id: UUID
    summary: str
    seen: str
    example: UUID | None = None


def standing(review: Review, listening_id: int | None) -> str:
    """How a clip stands: changed by everything at the desk and by every new listening."""
    return f"{review.version}.{listening_id}"


def return_one(person: Person, wanted: Wanted, site: str) -> None:
    """Return a clip. The same press a second time finds it returned, and that is no error.

    Raises
    ------
    LeftOut
        When it may not be, or is not any more what was looked at.
    """
    try:
        review = access.review_for(person, wanted.clip_id)
        example = access.own_recording(person, review, wanted.example) if wanted.example else None
    except ConsentMissing as missing:
        raise LeftOut(missing.sentence) from None
    except Http404:
        raise LeftOut(NO_LONGER_THERE) from None
    if wanted.example and example is None:
        raise LeftOut(GONE, review)
    try:
        with copied(example) as recording, transaction.atomic():
            _lock(review)
            if _is_returned(review, person, wanted):
                return
            _refuse_what_changed(review, person, wanted)
            if example is not None and recording is not None:
                attach(review, person, example, recording)
            services.return_clip(review, person, wanted.summary, site=site)
    except NotTaken as refused:
        raise LeftOut(str(refused), review) from None


def _lock(review: Review) -> None:
    """Its row is this transaction's, and the fields that others change are read anew."""
    locked = Review.objects.select_for_update().get(pk=review.pk)
    for name in ("state", "version", "taken_by_id", "snoozed_until"):
        setattr(review, name, getattr(locked, name))


def _is_returned(review: Review, person: Person, wanted: Wanted) -> bool:
    """Whether the same press returned it already; raises where somebody else did."""
    if review.state != Review.State.RETURNED:
        return False
    returned = Return.objects.select_related("returned_by").get(review=review)
    mine = returned.returned_by_id == person.pk
    if mine and with_plain_newlines(returned.snapshot["summary"]) == with_plain_newlines(
        wanted.summary
    ):
        return True
    by = "you" if mine else returned.returned_by
    raise LeftOut(
        _("It was returned by %(by)s in the meantime, with other words.") % {"by": by}, review
    )


def _refuse_what_changed(review: Review, person: Person, wanted: Wanted) -> None:
    if review.taken_by_id not in (None, person.pk):
        raise LeftOut(
            _("%(taken_by)s has taken it in the meantime.") % {"taken_by": review.taken_by}, review
        )
    if review.snoozed_until and review.snoozed_until > timezone.now():
        raise LeftOut(_("It was put to rest in the meantime."), review)
    heard = judged(review)
    if heard is None or review.clip.note or review.clip.asks:
        raise LeftOut(_("It is not one of those in which nothing was found or asked."), review)
    if heard.marks:
        found = (
            _("A mark was")
            if len(heard.marks) == 1
            else _("%(marks)s marks were") % {"marks": len(heard.marks)}
        )
        raise LeftOut(
            _("%(found)s found in the meantime. Open it at the desk.") % {"found": found}, review
        )
    if standing(review, heard.listening.pk) != wanted.seen:
        raise LeftOut(CHANGED, review)
    if len(wanted.summary) > LONGEST_SUMMARY:
        raise LeftOut(
            _("Its summary has %(summary)s letters; at most %(longest_summary)s.")
            % {"summary": len(wanted.summary), "longest_summary": LONGEST_SUMMARY},
            review,
        )


OFFERED = 12
GONE = gettext_lazy("The recorded example is no longer there. Choose another, or none.")


@dataclass(frozen=True, slots=True)
class Example:
    """One recording of the teacher's: how often it was sent, and what it first went with."""

    enclosure: Enclosure
    times: int
    kinds: tuple[str, ...]

    @property
    def pk(self) -> UUID:
        return self.enclosure.pk

    @property
    def clip_id(self) -> UUID:
        return self.enclosure.clip_id

    @property
    def studio_id(self) -> int:
        return self.enclosure.clip.enrolment.studio_id

    @property
    def words(self) -> str:
        return self.enclosure.comment.text

    @property
    def pupil(self) -> Person:
        return self.enclosure.clip.enrolment.pupil

    @property
    def recorded_at(self) -> datetime:
        return self.enclosure.created_at


def examples_of(recordings: Iterable[Enclosure]) -> list[Example]:
    """What was recorded, each recording once; from what ``access.own_recordings`` found."""
    same: dict[tuple[int, str], list[Enclosure]] = {}
    for each in recordings:
        same.setdefault((each.clip.enrolment.studio_id, each.sha256), []).append(each)
    return [
        # The first of its kind says best what it is: copies have no words of their own.
        Example(alike[-1], len(alike), tuple(_kind_of(each.comment.review) for each in alike))
        for alike in same.values()
    ]


def offered_examples(examples: Iterable[Example], review: Review) -> list[Example]:
    """Those to offer with a clip: what went with its kind of drill most often first."""
    kind, studio_id = _kind_of(review), review.clip.enrolment.studio_id
    here = [example for example in examples if example.studio_id == studio_id]
    here.sort(key=lambda e: (e.kinds.count(kind), e.times, e.recorded_at), reverse=True)
    return here[:OFFERED]


@contextmanager
def copied(example: Enclosure | None) -> Iterator[Recording | None]:
    """A copy of its recording on the bench, to be attached within the context.

    Raises
    ------
    NotTaken
        When it is gone, or can no longer be opened.
    """
    if example is None:
        yield None
        return
    original = example.file(EnclosedFile.Kind.ORIGINAL)
    if original is None:
        raise NotTaken(GONE)
    try:
        chunks = store().read(original.path, 0, original.size_bytes)
    except FileNotFoundError:
        raise NotTaken(GONE) from None
    sort = "audio" if example.kind == Enclosure.Kind.VOICE else "video"
    with received(chunks, f"{sort}/") as recording:
        yield recording


def attach(review: Review, teacher: Person, example: Enclosure, recording: Recording) -> None:
    """Put a copied recording with the clip, at its beginning; inside a transaction."""
    said = CommentText(kind=example.comment.kind, text="", start_s=0.0)
    enclose(comments.add_comment(review, teacher, said), recording)


def _kind_of(review: Review) -> str:
    return review.answers.version.interval if review.answers else ""

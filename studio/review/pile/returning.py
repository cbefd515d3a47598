"""Returning one clip of a pile: as every return, and only while it is as it was looked at."""

from dataclasses import dataclass
from uuid import UUID

from django.db import transaction
from django.http import Http404
from django.utils import timezone

from studio.accounts.consent import ConsentMissing
from studio.accounts.models import Person
from studio.review import access, services
from studio.review.enclosures.receiving import NotTaken
from studio.review.judging import judged
from studio.review.models import Return, Review

from . import examples

LONGEST_SUMMARY = 4000
NO_LONGER_THERE = "It is no longer there."
CHANGED = "It was changed at the desk, or listened to again, in the meantime. Look at it again."
NO_WORDS = "The example alone is not returned. Say something with it, or take it off."


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
        raise LeftOut(examples.GONE, review)
    try:
        with examples.copied(example) as recording, transaction.atomic():
            _lock(review)
            if _is_returned(review, person, wanted):
                return
            _refuse_what_changed(review, person, wanted)
            if example is not None and recording is not None:
                examples.attach(review, person, example, recording)
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
    if mine and _plain(returned.snapshot["summary"]) == _plain(wanted.summary):
        return True
    by = "you" if mine else returned.returned_by
    raise LeftOut(f"It was returned by {by} in the meantime, with other words.", review)


def _refuse_what_changed(review: Review, person: Person, wanted: Wanted) -> None:
    if review.taken_by_id not in (None, person.pk):
        raise LeftOut(f"{review.taken_by} has taken it in the meantime.", review)
    if review.snoozed_until and review.snoozed_until > timezone.now():
        raise LeftOut("It was put to rest in the meantime.", review)
    heard = judged(review)
    if heard is None or review.clip.note or review.clip.asks:
        raise LeftOut("It is not one of those in which nothing was found or asked.", review)
    if heard.marks:
        found = "A mark was" if len(heard.marks) == 1 else f"{len(heard.marks)} marks were"
        raise LeftOut(f"{found} found in the meantime. Open it at the desk.", review)
    if standing(review, heard.listening.pk) != wanted.seen:
        raise LeftOut(CHANGED, review)
    if len(wanted.summary) > LONGEST_SUMMARY:
        raise LeftOut(
            f"Its summary has {len(wanted.summary)} letters; at most {LONGEST_SUMMARY}.", review
        )


def _plain(text: str) -> str:
    return text.replace("\r\n", "\n").strip()

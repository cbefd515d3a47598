"""Marks that a teacher adds by hand, where the judgement proposed none."""

from dataclasses import dataclass

from django.db import transaction
from django.db.models import F

from studio.accounts.models import Person
from studio.review.changes import Conflict, lock_unreturned
from studio.review.models import HandMark, Review

LONGEST_S = 60.0  # a mark is about a moment; more is a comment


@dataclass(frozen=True, slots=True)
class HandMarkText:
    """What a mark by hand says, and its span in seconds."""

    words: str
    start_s: float
    end_s: float


@transaction.atomic
def add(review: Review, teacher: Person, said: HandMarkText, form_key: str) -> HandMark:
    """Add a mark; the same ``form_key`` twice makes one."""
    lock_unreturned(review)
    fields = {
        "words": said.words,
        "start_s": said.start_s,
        "end_s": said.end_s,
        "added_by": teacher,
    }
    if not form_key:
        return HandMark.objects.create(review=review, **fields)
    mark, _ = HandMark.objects.get_or_create(review=review, form_key=form_key, defaults=fields)
    return mark


@transaction.atomic
def edit(mark: HandMark, said: HandMarkText, version: int, was: str | None = None) -> HandMark:
    """Change a mark by hand, if it is the ``version`` that was read, or says what it ``was``.

    Raises
    ------
    Conflict
        When it was edited in the meantime.
    """
    lock_unreturned(mark.review)
    standing = HandMark.objects.get(pk=mark.pk)
    if was is not None and standing.words.split() == was.split():
        version = standing.version
    changed = HandMark.objects.filter(pk=mark.pk, version=version).update(
        words=said.words, start_s=said.start_s, end_s=said.end_s, version=F("version") + 1
    )
    mark.refresh_from_db()
    if not changed and mark.words != said.words:
        raise Conflict(mark.words)
    return mark


@transaction.atomic
def delete(mark: HandMark) -> None:
    lock_unreturned(mark.review)
    mark.delete()

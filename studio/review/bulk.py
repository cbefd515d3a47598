"""Deciding all marks of one kind at once, or all that are left, and undoing that."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone

from studio.accounts.models import Person

from . import acts
from .judging import Judged
from .marks import Mark
from .models import Decision, Review
from .proposing import kind_of
from .services import lock_unreturned

WAYS = {"interval_wide": "wide", "interval_narrow": "narrow"}
OTHERS = {
    "open_string": "open strings out of tune",
    "single_sharp": "sharp notes",
    "single_flat": "flat notes",
}


@dataclass(frozen=True, slots=True)
class Kind:
    """All marks of a clip that say the same kind of thing."""

    key: str
    words: str
    marks: tuple[Mark, ...]

    @property
    def undecided(self) -> int:
        return sum(not mark.choice for mark in self.marks)

    @property
    def kept(self) -> int:
        return sum(mark.choice == Decision.Choice.KEPT for mark in self.marks)

    @property
    def dropped(self) -> int:
        return len(self.marks) - self.undecided - self.kept


def kinds_of(marks: Sequence[Mark]) -> list[Kind]:
    """The kinds among some marks, the commonest first."""
    common = Counter(mark.kind for mark in marks)
    return [
        Kind(key, in_words(key), tuple(mark for mark in marks if mark.kind == key))
        for key, _ in common.most_common()
    ]


def in_words(kind: str) -> str:
    """``interval_wide:P8`` reads ``wide octaves``."""
    code, _, short = kind.partition(":")
    name = kind_of(short) if short else ""
    if code in WAYS and name:
        return f"{WAYS[code]} {name}"
    said = next((words for start, words in OTHERS.items() if code.startswith(start)), "")
    return said or f"{code.replace('_', ' ')} {name}".strip()


@transaction.atomic
def decide_all(review: Review, judged: Judged, kind: str, choice: str, teacher: Person) -> int:
    """Keep or drop what is undecided of one kind (of all: empty); how many that were.

    What was decided one by one stays as it is. :func:`.services.undo_decision` takes it back.
    """
    lock_unreturned(review)
    at = timezone.now()
    marks = [mark for mark in judged.marks if kind in ("", mark.kind) and not mark.choice]
    made = Decision.objects.bulk_create(
        Decision(
            review=review,
            listening=judged.listening,
            choice=Decision.Choice(choice),
            code=mark.code,
            start_s=mark.start_s,
            end_s=mark.end_s,
            midis=list(mark.midis),
            sentence=mark.sentence,
            decided_by=teacher,
            decided_at=at,
        )
        for mark in marks
    )
    acts.remember([(mark.about, None, each) for mark, each in zip(marks, made, strict=True)])
    return len(made)

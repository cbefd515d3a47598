"""What a teacher decides about proposed marks: one by one, all of a kind at once, and undone."""

from collections import Counter
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone

from studio.accounts.models import Person
from studio.clips.models import Listening
from studio.review import idempotency
from studio.review.changes import Conflict, lock_unreturned, with_plain_newlines
from studio.review.models import Decision, Review
from studio.translating import gettext_lazy

from .audit_figures import Share
from .judging import Judged
from .mark import Mark, decided, kind_of

WAYS = {"interval_wide": "wide", "interval_narrow": "narrow"}
OTHERS = {
    "open_string": gettext_lazy("open strings out of tune"),
    "single_sharp": gettext_lazy("sharp notes"),
    "single_flat": gettext_lazy("flat notes"),
}


@dataclass(frozen=True, slots=True)
class Kind:
    """All marks of a clip that say the same kind of thing."""

    key: str
    words: str
    marks: tuple[Mark, ...]

    @property
    def quiet(self) -> Share | None:
        """Where the kind is proposed quietly: how many such marks were right in the audit."""
        return self.marks[0].quiet

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
    """The kinds among some marks, the commonest first; those that are quiet after the others."""
    common = Counter(mark.kind for mark in marks)
    kinds = [
        Kind(key, in_words(key), tuple(mark for mark in marks if mark.kind == key))
        for key, _ in common.most_common()
    ]
    return sorted(kinds, key=lambda kind: kind.quiet is not None)


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
    """Keep or drop what is undecided of one kind (of all that is loud: empty); how many that were.

    What was decided one by one stays as it is. :func:`undo_decision` takes it back.
    """
    lock_unreturned(review)
    at = timezone.now()
    meant = [mark for mark in judged.marks if (mark.kind == kind if kind else mark.quiet is None)]
    marks = [mark for mark in meant if not mark.choice]
    made = Decision.objects.bulk_create(
        _about(mark, review, judged.listening, choice, teacher, decided_at=at) for mark in marks
    )
    idempotency.remember([(mark.about, None, each) for mark, each in zip(marks, made, strict=True)])
    return len(made)


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
        own_start_s, own_end_s = span or (None, None)
        own = {"own_start_s": own_start_s, "own_end_s": own_end_s, "words": (words or "").strip()}
        decision = _about(mark, review, listening, choice, teacher, **own)
        decision.save(force_insert=True)
    idempotency.remember([(mark.about, before, decision)])
    return decision


@transaction.atomic
def undo_decision(review: Review, teacher: Person, key: str) -> list[Decision | int] | None:
    """Take back what a teacher decided with the press of a key.

    The decisions that stand again, and the numbers of those that are gone; ``None`` where there is
    nothing to take back.
    """
    lock_unreturned(review)
    act = idempotency.decided(review, teacher).filter(key=key).first()
    return None if act is None else idempotency.take_back(act)


@transaction.atomic
def forget_decision(review: Review, decision_id: int) -> None:
    """Let go of a decision whose moment is not marked any more; gone already is no error."""
    lock_unreturned(review)
    Decision.objects.filter(pk=decision_id, review=review).delete()


def _about(
    mark: Mark, review: Review, listening: Listening, choice: str, teacher: Person, **more
) -> Decision:
    """A decision, not saved yet, that finds its mark again by what it is about."""
    return Decision(
        review=review,
        listening=listening,
        choice=Decision.Choice(choice),
        code=mark.code,
        start_s=mark.start_s,
        end_s=mark.end_s,
        midis=list(mark.midis),
        sentence=mark.sentence,
        decided_by=teacher,
        **more,
    )


def _is_unseen(
    standing: Decision, teacher: Person, words: str | None, seen: int | None, was: str | None
) -> bool:
    """Whether a standing decision has words that its page did not show and that would be lost."""
    if not standing.words or standing.pk == seen:
        return False
    if words is None:  # nothing is lost; but a colleague's words are read before they are kept
        return standing.decided_by_id != teacher.pk
    return with_plain_newlines(standing.words) not in (
        with_plain_newlines(words),
        with_plain_newlines(was or ""),
    )

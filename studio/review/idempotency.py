"""What was pressed at the desk, each once: carried out with a key that the page chose.

A page sends a press again when its answer was lost. The first that is carried out leaves its key
with the change, in one transaction; whoever comes with the same key again changes nothing. What a
press did to decisions is remembered with it, so that it can be taken back.

Every change of a review raises its ``version``, by which a page tells a late answer from a new one.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

from django.db.models import BigIntegerField, F, QuerySet
from django.forms.models import model_to_dict

from studio.accounts.access import PERSON
from studio.accounts.models import Person
from studio.accounts.prepared import Given, Prepared

from .models import Decision, DeskAct, Review

LONGEST_KEY = 64
UNDONE_AT_MOST = 50  # presses that a page knows of from before


class CarriedOut(Exception):
    """This press was carried out already; its answer was lost."""


@dataclass(slots=True)
class Acting:
    """Who presses, the press's key (empty from a plain form), and what it has led to so far."""

    person: Person
    key: str
    act: DeskAct | None = None
    version: int | None = None


_ACTING: ContextVar[Acting | None] = ContextVar("acting", default=None)


@contextmanager
def acting(person: Person, key: str) -> Iterator[Acting]:
    """What is changed inside is one press of a person."""
    now = Acting(person, key)
    token = _ACTING.set(now)
    try:
        yield now
    finally:
        _ACTING.reset(token)


def was_carried_out(review: Review, key: str) -> bool:
    return bool(key) and DeskAct.objects.filter(review=review, key=key).exists()


def note(review: Review) -> None:
    """A change of a review begins, inside its transaction and with its row locked.

    Raises
    ------
    CarriedOut
        When the press that makes it was carried out already.
    """
    now = _ACTING.get()
    if now is not None and now.version is not None:
        return  # one press may change several things
    Review.objects.filter(pk=review.pk).update(version=F("version") + 1)
    if now is None:
        return
    now.version = review.version + 1
    if not now.key:
        return
    act, made = DeskAct.objects.get_or_create(
        review=review, key=now.key, defaults={"person": now.person}
    )
    if not made:
        raise CarriedOut(now.key)
    now.act = act


def remember(changes: Sequence[tuple[str, Decision | None, Decision | None]]) -> None:
    """What the present press decided: about which mark, as it was, and as it is."""
    now = _ACTING.get()
    if now is None or now.act is None:
        return
    now.act.decisions = [
        {"about": about, "was": _row(before), "now": after.pk if after else None}
        for about, before, after in changes
    ]
    now.act.save(update_fields=["decisions"])


def decided(review: Review | Given, person: Person | Given) -> QuerySet[DeskAct]:
    """What a person decided in a review and can take back, the last first."""
    acts = DeskAct.objects.filter(review=review, person=person, undone=False)
    return acts.exclude(decisions=[]).order_by("-pk")


def in_short(review: Review, person: Person) -> list[dict]:
    """The last of them in their order: ``{"key": …, "before": [[mark, choice], …]}``."""
    rows = _in_short(review=review.pk, person=person.pk)
    return [
        {"key": key, "before": [[c["about"], (c["was"] or {}).get("choice", "")] for c in changes]}
        for key, changes in reversed(rows)
    ]


@Prepared
def _in_short() -> QuerySet:
    acts = decided(Given("review", BigIntegerField()), PERSON)
    return acts.values_list("key", "decisions")[:UNDONE_AT_MOST]


def take_back(act: DeskAct) -> list[Decision | int]:
    """Put back what a press changed, but for what was changed since; those decisions, or their row.

    Inside a transaction and with the review locked.
    """
    put_back: list[Decision | int] = []
    for change in act.decisions:
        was, pk = change["was"], change["now"]
        if not _stands(act.review, was, pk):
            continue  # decided otherwise since, by somebody else or from another page
        act.review.decisions.filter(pk=pk).delete()
        if was is not None:
            put_back.append(_again(act.review, was))
        elif pk is not None:
            put_back.append(pk)
    DeskAct.objects.filter(pk=act.pk).update(undone=True)
    return put_back


def _stands(review: Review, was: dict | None, pk: int | None) -> bool:
    """Whether what a press left is as it left it: its decision, or none where it took one away."""
    if pk is not None:
        return review.decisions.filter(pk=pk).exists()
    about = {name: was[name] for name in ("code", "start_s", "end_s")} if was else {}
    return not review.decisions.filter(**about).exists()


FIELDS = [field.name for field in Decision._meta.concrete_fields if field.name != "review"]


def _row(decision: Decision | None) -> dict | None:
    """A decision as JSON, with its number."""
    if decision is None:
        return None
    row = model_to_dict(decision, fields=FIELDS)
    return row | {"id": decision.pk, "decided_at": decision.decided_at.isoformat()}


def _again(review: Review, row: dict) -> Decision:
    """The decision that a row was made of, with the number it had: earlier presses name it."""
    relations = {"listening": "listening_id", "decided_by": "decided_by_id"}
    fields = {relations.get(name, name): value for name, value in row.items()}
    decision = Decision(review=review, **fields)
    decision.save(force_insert=True)
    return decision

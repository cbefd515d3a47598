"""Erasing rows, as each table has answered (:mod:`studio.accounts.personal_data`).

Tables that point to others come first, so that nothing stands in the way of what is deleted.
"""

from collections.abc import Iterable
from graphlib import TopologicalSorter
from uuid import UUID

from django.db import transaction
from django.db.models import Model, Q, QuerySet

from studio.accounts.models import Membership, Person, Studio
from studio.accounts.personal_data import Emptied, Entry, Erasure, Goes, Unlinked, entries
from studio.clips.models import Clip, file_models
from studio.clips.storage import spool
from studio.drills.models import Assignment

# Of whom a row in a studio is as of its pupil, by the last part of the lookup that leads to her.
AS_PUPIL = ("pupil", "about")
#: What a person has in a studio as somebody who works there, which ends with her account alone.
NOT_OF_LESSONS = (
    *("AuditRound", "Favourite", "Phrase", "RetentionTerms", "RotationStart", "ScoreReading"),
    "SummaryTemplate",
)


def erase_clip(clip_id: UUID) -> None:
    """Delete all rows that belong to a clip; call it in a transaction. Files are not touched."""
    for entry in in_order():
        if entry.clip:
            _apply(entry.erasure, entry.of_clip(clip_id))
    for clip in Clip.objects.filter(pk=clip_id):
        _erase_naming(clip)
        clip.delete()


def erase_drills(numbers: Iterable[int]) -> None:
    """Delete assignments and what names them; call it in a transaction. The shelf stays."""
    for assignment in Assignment.objects.filter(pk__in=list(numbers)):
        _erase_naming(assignment)
        assignment.delete()


def erase_lessons(person: Person, studio: Studio) -> None:
    """Erase what a studio has of its pupil; call it in a transaction, once the clips are gone."""
    for entry in in_order():
        lookups = [way for way in entry.subjects if way.rpartition("__")[2] in AS_PUPIL]
        if entry.studio and entry.model.__name__ not in NOT_OF_LESSONS:
            rows = entry.model._base_manager.filter(_of_pupil(entry, person, lookups))
            _apply(entry.erasure, rows.filter(**{entry.studio: studio}), person, lookups)


def erase_account(person: Person) -> bool:
    """Erase all that is kept about a person; call it in a transaction, once the clips are gone.

    Says whether the account itself went: it is emptied where something that stays names it.
    """
    own = None
    for entry in in_order():
        if entry.model is Person:
            own = entry
        else:
            _apply(entry.erasure, entry.of(person), person, entry.subjects)
    _erase_naming(person)
    if not _is_named(person):
        person.delete()
        return True
    assert own is not None
    assert isinstance(own.erasure, Emptied)
    _empty(person, dict(own.erasure.values))
    return False


def in_order() -> list[Entry]:
    """The tables with people in them, each before those that it points to."""
    known = {entry.model: entry for entry in entries()}
    order: TopologicalSorter = TopologicalSorter({model: set() for model in known})
    for model in known:
        for field in model._meta.concrete_fields:
            target = field.related_model
            if target in known and target is not model:
                order.add(target, model)
    return [known[model] for model in order.static_order()]


def _of_pupil(entry: Entry, person: Person, lookups: list[str]) -> Q:
    if entry.model is Membership:
        return Q(person=person, role=Membership.Role.PUPIL)
    whose = entry.find(person) if entry.find else Q(pk__in=[])
    for lookup in lookups:
        whose |= Q(**{lookup: person.pk})
    return whose


def _apply(erasure: Erasure, rows: QuerySet, person: Person | None = None, ways=()) -> None:
    """Do to rows what their table has answered; ``ways`` lead from them to the person."""
    if isinstance(erasure, Goes):
        _delete(rows)
    elif isinstance(erasure, Emptied):
        rows.update(**erasure.values)
    elif isinstance(erasure, Unlinked):
        for way in ways:
            if "__" not in way:
                rows.model._base_manager.filter(pk__in=rows.values("pk"), **{way: person}).update(
                    **{way: None}
                )


def _delete(rows: QuerySet) -> None:
    if rows.model._meta.app_label == "axes":
        rows._raw_delete(rows.db)  # past its signals, for which our handler has no answer
        return
    if issubclass(rows.model, tuple(file_models())):
        for path in rows.values_list("path", flat=True):
            transaction.on_commit(lambda path=path: spool.remove(path))
    rows.delete()


def _erase_naming(what: Model) -> None:
    """What becomes of rows that name what goes, and are about somebody or something else."""
    for entry in in_order():
        for name, erasure in entry.named.items():
            if entry.model._meta.get_field(name).related_model is not type(what):
                continue
            rows = entry.naming(name, what)
            if isinstance(erasure, Unlinked):
                rows.update(**{name: None})
            else:
                _apply(erasure, rows)


def _is_named(person: Person) -> bool:
    """Whether any row is left that names the account."""
    relations = Person._meta.related_objects
    return any(
        relation.related_model._base_manager.filter(**{relation.field.name: person}).exists()
        for relation in relations
    )


def _empty(person: Person, values: dict) -> None:
    """The account opens nothing and names nobody from now on."""
    Person.objects.filter(pk=person.pk).update(**values, last_login=None)

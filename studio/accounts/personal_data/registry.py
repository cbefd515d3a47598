"""Which answer each table gave."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Model, Q, QuerySet

from studio.accounts.models import Person, Studio

from .answers import Erasure, Exported, Kept, Withheld

Find = Callable[[Person], Q]


@dataclass(frozen=True, slots=True)
class Entry:
    """A table with people in it.

    ``subjects`` are lookups to the people whose rows they are: a row is exported to each of them,
    and erased with each. ``find`` gives a condition instead, where no lookup leads to a person.
    ``studio`` and ``clip`` are lookups too, empty where the table belongs to none. ``named`` says
    of every other relation to a table with people in it what becomes of the row once what it names
    is erased. ``lessons``: the rows belong to somebody's lessons, and not to an account.
    """

    model: type[Model]
    subjects: tuple[str, ...]
    studio: str
    clip: str
    find: Find | None
    named: Mapping[str, Erasure]
    export: Exported | Withheld
    erasure: Erasure
    kept: Kept
    lessons: bool = False

    def of(self, person: Person, studio: Studio | None = None) -> QuerySet:
        """The rows of a person; with ``studio`` those in it, none where the table has no studio."""
        rows = self.model._base_manager.filter(self._whose(person))
        if studio is None:
            return rows
        return rows.filter(**{self.studio: studio}) if self.studio else rows.none()

    def of_clip(self, clip_id: UUID) -> QuerySet:
        """The rows that belong to a clip; none where the table has nothing to do with clips."""
        rows = self.model._base_manager.all()
        return rows.filter(**{self.clip: clip_id}) if self.clip else rows.none()

    def naming(self, field: str, what: Model) -> QuerySet:
        """The rows in which a field of ``named`` names ``what``."""
        return self.model._base_manager.filter(**{field: what})

    def exported(self, person: Person, studio: Studio | None = None) -> QuerySet:
        """Those rows of :meth:`of` that go into a copy."""
        rows = self.of(person, studio)
        if isinstance(self.export, Withheld):
            return rows.none()
        return rows.filter(self.export.only()) if self.export.only else rows

    def _whose(self, person: Person) -> Q:
        whose = self.find(person) if self.find else Q(pk__in=[])
        for lookup in self.subjects:
            whose |= Q(**{lookup: person.pk})
        return whose


@dataclass(frozen=True, slots=True)
class Impersonal:
    """A table that says nothing of anybody, and why that is so."""

    model: type[Model]
    reason: str


_answers: dict[type[Model], Entry | Impersonal] = {}


def register(
    model: type[Model],
    *,
    export: Exported | Withheld,
    erasure: Erasure,
    kept: Kept,
    subjects: tuple[str, ...] = (),
    place: str = "",
    clip: str = "",
    studio: str = "",
    find: Find | None = None,
    named: Mapping[str, Erasure] | None = None,
    lessons: bool = False,
) -> None:
    """Answer for a table. ``clip`` or ``place`` (a lookup to an enrolment) says whose it is, too,
    and that the rows are of lessons.

    Raises
    ------
    ValueError
        When the table has answered before.
    """
    place = f"{clip}__enrolment" if clip and clip != "pk" else place
    if place:
        subjects, studio = (*subjects, f"{place}__pupil"), studio or f"{place}__studio"
    said = (export, erasure, kept, lessons or bool(place))
    _add(model, Entry(model, subjects, studio, clip, find, named or {}, *said))


def impersonal(model: type[Model], reason: str) -> None:
    """Answer for a table without people."""
    _add(model, Impersonal(model, reason))


def answer_of(model: type[Model]) -> Entry | Impersonal | None:
    return _answers.get(model)


def entries() -> list[Entry]:
    """The tables with people in them, by name."""
    found = [answer for answer in _answers.values() if isinstance(answer, Entry)]
    return sorted(found, key=lambda entry: entry.model._meta.label)


def _add(model: type[Model], answer: Entry | Impersonal) -> None:
    if model in _answers:
        raise ValueError(f"{model._meta.label} has answered already; answer for it once")
    _answers[model] = answer

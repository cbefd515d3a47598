"""How the work stands, read from the rows: for the metrics page and the operator's."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Exists, Min, OuterRef, Q, QuerySet
from django.utils import timezone

from studio.accounts import consent
from studio.clips.models import Clip, Stage
from studio.jobs.rows import Leased, leased_models

Consented = consent.Purpose.RECORDINGS


@dataclass(frozen=True, slots=True)
class Line:
    """Work of one kind: how many rows in each state, and since when the oldest one waits."""

    kind: str
    all_states: list[str]
    states: dict[str, int]
    waiting_since: datetime | None

    @property
    def waits(self) -> timedelta:
        """How long the oldest one has waited; nothing where none waits."""
        if self.waiting_since is None:
            return timedelta(0)
        return max(timezone.now() - self.waiting_since, timedelta(0))

    @property
    def waiting(self) -> int:
        return self.count(Leased.WAITING)

    @property
    def working(self) -> int:
        return self.count(Leased.WORKING)

    @property
    def failed(self) -> int:
        """Failed and parked; a recording without sound counts here, too."""
        return self.count(Leased.FAILED) + self.count(Leased.PARKED)

    def count(self, state: str) -> int:
        return self.states.get(state, 0)


def lines() -> list[Line]:
    """Work of each kind. Erased clips are left out."""
    found = []
    for model in leased_models():
        for kind, rows in _kinds(model):
            counts = dict(rows.values_list("state").annotate(n=Count("pk")).order_by("state"))
            oldest = _due(model, rows).aggregate(since=Min("changed_at"))["since"]
            found.append(Line(kind, states_of(model), counts, oldest))
    return found


def states_of(model: type[Leased]) -> list[str]:
    return [value for value, _ in model._meta.get_field("state").choices]


def _kinds(model: type[Leased]) -> Iterator[tuple[str, QuerySet]]:
    """Rows by their kind: those of a clip have one each; other work is one kind by itself."""
    if model is Stage:
        rows = Stage.objects.filter(clip__erased_at=None)
        for kind in Stage.Kind.values:
            yield kind, rows.filter(kind=kind)
    else:
        yield model._meta.model_name, model._default_manager.all()


def _due(model: type[Leased], rows: QuerySet) -> QuerySet:
    """What waits for a worker: a listening without consent waits for a person.

    What is heard anew waits until nothing else does, and that is no cause for alarm.
    """
    waiting = rows.filter(state=Leased.WAITING)
    if model is not Stage:
        return waiting
    agreed = Clip.objects.filter(
        consent.holds(Consented, "enrolment__pupil", "enrolment__studio"), pk=OuterRef("clip_id")
    )
    waiting = waiting.exclude(kind=Stage.Kind.REHEARING)
    return waiting.filter(~Q(kind=Stage.Kind.LISTENING) | Exists(agreed))

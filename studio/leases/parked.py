"""What is parked for whoever looks after the server: list it, and try it again.

Parked is work that failed for reasons of ours as often as it is tried by itself. What it is about
is kept; nobody was told that it cannot be used.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from django.db.models.functions import Now

from .claims import ALONE_AFTER, STALE_WAIT
from .rows import Leased, leased_models


@dataclass(frozen=True, slots=True)
class Parked:
    """One parked piece of work. ``name`` finds it again: its kind and its row."""

    name: str
    what: str
    since: datetime
    code: str
    detail: str
    attempts: int
    worker_deaths: int


def parked() -> Iterator[Parked]:
    """Everything that is parked, oldest first within its kind."""
    for model in leased_models():
        for row in model._default_manager.filter(state=Leased.PARKED).order_by("changed_at"):
            if getattr(getattr(row, "clip", None), "erased_at", None) is not None:
                continue
            yield Parked(
                name=f"{model._meta.label_lower}/{row.pk}",
                what=str(row),
                since=row.changed_at,
                code=row.failure_code,
                detail=row.failure_detail,
                attempts=row.attempt,
                worker_deaths=row.worker_deaths,
            )


def try_again(name: str | None = None) -> int:
    """Let what is parked be tried from the beginning: one (``Parked.name``), or everything.

    Says how many. The next sweep, within 15 seconds, sends them to a worker. What workers have
    died at is still done alone.

    Raises
    ------
    LookupError
        For a name that no kind of work has.
    """
    label, _, pk = (name or "").partition("/")
    models = [model for model in leased_models() if not label or model._meta.label_lower == label]
    if not models:
        known = ", ".join(model._meta.label_lower for model in leased_models())
        raise LookupError(f"{label!r} is no kind of work; there are {known}.")
    again = 0
    for model in models:
        rows = model._default_manager.filter(state=Leased.PARKED)
        rows = rows.filter(pk=model._meta.pk.to_python(pk)) if pk else rows
        suspects = rows.filter(worker_deaths__gt=0)
        changes = {"state": Leased.WAITING, "attempt": 0, "dispatched_at": None}
        changes |= {"lease_until": None, "lease_token": "", "changed_at": Now() - STALE_WAIT}
        again += suspects.update(**changes, worker_deaths=ALONE_AFTER)
        again += rows.update(**changes)
    return again

"""Dead letters: what was put aside for whoever looks after the server, to be seen and tried again.

*Parked work* failed for reasons of ours as often as it is tried by itself. What it is about is
kept; nobody was told that it cannot be used.

*Parked messages* are those that this version does not understand. While a studio is upgraded,
workers of two versions may read one queue. A message of the other is neither worked on nor thrown
away: it becomes a file in ``STUDIO_DATA/parked``, once, however often it comes. The row it is about
still waits: the sweep sends a message of its own version.
"""

import hashlib
import json
import logging
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db.models.functions import Now
from django.utils import timezone

from studio import durable

from .leases import ALONE_AFTER, STALE_WAIT
from .queue import MESSAGE_VERSION
from .rows import Leased, leased_models

log = logging.getLogger(__name__)

MAX_CHARS = 20_000  # of one message: an id and a version need a hundred


def folder() -> Path:
    return settings.STUDIO_DATA / "parked"


def understood(task: str, said: dict, version: object, more: dict) -> bool:
    """Whether this version knows what a message means; one that it does not know is parked."""
    if version == MESSAGE_VERSION and not more:
        return True
    reason = f"its version is {version!r}; this one reads {MESSAGE_VERSION}"
    park_message(task, {**said, "version": version, **more}, reason)
    return False


def park_message(task: str, said: dict, reason: str) -> Path:
    """Keep a message: the task it asks for, what it says, and why it was not done."""
    message = {"task": task, "said": repr(said)[:MAX_CHARS]}
    text = json.dumps(message, sort_keys=True)
    path = folder() / f"{hashlib.sha256(text.encode()).hexdigest()[:16]}.json"
    log.error("a message for %s is parked in %s: %s", task, path, reason)
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        parked_at = timezone.now().isoformat(timespec="seconds")
        durable.write(path, json.dumps({**message, "reason": reason, "parked_at": parked_at}))
    return path


def parked_messages() -> Iterator[tuple[Path, dict]]:
    """Every parked message with its file, oldest first."""
    found = [(path, json.loads(path.read_text())) for path in folder().glob("*.json")]
    yield from sorted(found, key=lambda one: one[1]["parked_at"])


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


def parked_work() -> Iterator[Parked]:
    """All work that is parked, oldest first within its kind."""
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

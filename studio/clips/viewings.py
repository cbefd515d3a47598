"""Who watched which clip, and when: noted while it is served, for the pupil and the guardians.

A *sitting* is one person's requests for one clip with no pause longer than :data:`SITTING`. A
process writes at most once in :data:`NOTED_EVERY_S` for each, waits no longer than
:data:`LONGEST_WAIT_MS` for a database that is busy, and serves the film whatever becomes of it; the
next request tries again. So a last moment is known to about five minutes.

The pupil's own watching is not written: it would protect nobody, and would tell a parent how often
a child looks at herself. What a guardian watches is, for the child to see.
"""

import logging
import time
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from threading import Lock
from uuid import UUID

from django.db import Error, connection, transaction
from django.db.models import UUIDField
from django.utils import timezone

from studio.accounts import access as people
from studio.accounts.models import Person
from studio.accounts.prepared import Given, Prepared

from .models import Clip, Viewing

log = logging.getLogger(__name__)

SITTING = timedelta(minutes=30)  # chosen, not a standard
NOTED_EVERY_S = 300.0
LONGEST_WAIT_MS = 200
AT_MOST = 2_000  # pairs that a process remembers

_noted: OrderedDict[tuple[int, UUID], float] = OrderedDict()
_lock = Lock()


def note(clip: Clip, person: Person) -> None:
    """Note that ``person`` watches a clip now, unless that was noted a moment ago, or it is hers.

    Of a clip whose recording is gone nothing can be watched. Never fails: a database that is busy
    or away is for the log.
    """
    if clip.recording_gone_at is not None:
        return
    pair = (person.pk, clip.pk)
    if person.pk == clip.enrolment.pupil_id or _was_noted(pair):
        return
    try:
        with _bounded_wait():
            _write(clip, person)
    except Error as error:
        log.warning("who watches clip %s was not noted yet: %s", clip.pk, type(error).__name__)
        return
    _remember(pair)


@dataclass(slots=True)
class Watcher:
    """Somebody who watched a clip; ``name`` is empty once that account is erased."""

    person: int | None
    name: str
    role: str
    sittings: list[tuple[datetime, datetime]] = field(default_factory=list)


def watchers_of(clip: Clip) -> list[Watcher]:
    """Who watched a clip and when, first and last moment, the newest first."""
    found: dict[tuple, Watcher] = {}
    for row in _viewings(clip=clip.pk):
        key = (row.person_id, row.role)
        name = row.person.name if row.person else ""
        watcher = found.setdefault(key, Watcher(row.person_id, name, row.get_role_display()))
        watcher.sittings.append((row.first_at, row.last_at))
    return list(found.values())


_viewings = Prepared(
    lambda: Viewing.objects.filter(clip=Given("clip", UUIDField())).select_related("person")
)


def _write(clip: Clip, person: Person) -> None:
    """Go on with the present sitting, or begin one; of two processes at once one waits.

    The clip's row is the lock: so nothing is written of one that was erased meanwhile.
    """
    now = timezone.now()
    with transaction.atomic():
        if not list(Clip.objects.select_for_update().filter(pk=clip.pk, erased_at=None)):
            return
        mine = Viewing.objects.filter(clip=clip, person=person, last_at__gt=now - SITTING)
        if not mine.update(last_at=now):
            home = people.is_home(person, clip.enrolment)
            role = Viewing.Role.GUARDIAN if home else Viewing.Role.TEACHER
            Viewing.objects.create(clip=clip, person=person, role=role, first_at=now, last_at=now)


@contextmanager
def _bounded_wait() -> Iterator[None]:
    """While it lasts, a database that others write to is not waited for as long as usual."""
    if connection.vendor == "postgresql":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f"SET LOCAL lock_timeout = '{LONGEST_WAIT_MS}ms'")
            yield
        return
    usual_ms = round(1000 * connection.settings_dict["OPTIONS"].get("timeout", 5))
    _wait_at_most(LONGEST_WAIT_MS)
    try:
        yield
    finally:
        _wait_at_most(usual_ms)


def _wait_at_most(milliseconds: int) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA busy_timeout = {milliseconds:d}")


def _was_noted(pair: tuple[int, UUID]) -> bool:
    with _lock:
        at = _noted.get(pair)
    return at is not None and time.monotonic() - at < NOTED_EVERY_S


def _remember(pair: tuple[int, UUID]) -> None:
    with _lock:
        _noted[pair] = time.monotonic()
        _noted.move_to_end(pair)
        if len(_noted) > AT_MOST:
            _noted.popitem(last=False)

"""Making a copy, by a worker that holds its row.

Whatever ends the work, nothing half made stays: the file is on the bench until it is whole, then in
the store, then named by the row. A worker that is killed leaves its bench to the sweep, and another
begins again. Pictures that wait for the same worker are made between two clips of the copy.
"""

import time
from collections.abc import Callable
from contextlib import ExitStack, suppress

from django.db import DatabaseError, InterfaceError, transaction
from django.db.models.functions import Now
from django.http import Http404
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import __version__, media
from studio.clips.processing import pictures
from studio.clips.storage import spool, work_folders
from studio.jobs import leases, shutdown
from studio.rights import access

from . import consents, lessons, reading_page, records
from .archive import Archive
from .models import Copy
from .room import need_room, size_bytes

FOLDER = f"{spool.PASSING}/copies"
LAST = 0.97  # of the progress: the rest is for putting the file at rest
MAKES_WAY_S = 20 * 60.0  # no longer: a worker's work ends after 55 minutes


def make_by_worker(held: Copy) -> None:
    """The same by the worker for pictures, which makes those that wait between two clips."""
    begun = time.monotonic()

    def make_way() -> None:
        if time.monotonic() - begun < MAKES_WAY_S:
            pictures.make_waiting()

    make(held, make_way)


def make(held: Copy, make_way: Callable[[], object] = lambda: None) -> None:
    """Make a copy and let it be ready, or say that it cannot be made.

    ``make_way`` is called before each clip of it.
    """
    try:
        scope = leases.patiently(lambda: access.scope_of(held.asked_by, held.about, held.studio))
    except Http404:  # who asked may ask no more
        leases.judge(held, "not_asked")
        return
    name = f"{FOLDER}/{held.pk.hex}/{held.lease_token[:8]}.zip"
    with ExitStack() as cleaning:
        part = work_folders.path(".zip")
        cleaning.callback(part.unlink, missing_ok=True)
        try:
            with leases.beating(held) as progress:
                need_room(scope)
                _write(part, held, scope, progress, make_way)
                stored = spool.keep(spool.finished(part), name)
                shutdown.no_longer()
                leases.patiently(lambda: _publish(held, stored))
        except BaseException as error:
            _clear(name)
            if media.is_disk_full(error):
                raise media.Failed("disk_full", detail=str(error)) from error
            raise


def _write(
    part,
    held: Copy,
    scope: access.Scope,
    progress: Callable[[float], None],
    make_way: Callable[[], object],
) -> None:
    total, done = max(size_bytes(scope), 1), 0

    def on_bytes(count: int) -> None:
        nonlocal done
        done += count
        progress(min(LAST, LAST * done / total))

    def tell(doing: str) -> None:
        make_way()
        rows = leases.still_held(held)
        if not leases.patiently(lambda: rows.update(doing=doing)):
            raise leases.LeaseLost(f"copy {held.pk} is no longer held by this worker")

    asked_by = held.asked_by
    with Archive(part, on_bytes) as archive:
        clips, drills, agreed = [], [], []
        if scope.studio is not None:
            clips = lessons.write(archive, scope, asked_by != scope.person, tell)
            tell(_("drills and records"))
            drills = lessons.write_drills(archive, scope)
            agreed = consents.write(archive, scope)
        tables = records.write(archive, scope)
        reading_page.write(archive, scope, asked_by, clips, drills, agreed, tables)
        archive.finish(_head(held, scope))


def _head(held: Copy, scope: access.Scope) -> dict:
    return {
        "about": _("A copy of what is kept of a person. Open index.html to read it."),
        "person": scope.person.name,
        "of": _("lessons at %(studio)s") % {"studio": scope.studio.name}
        if scope.studio
        else _("the account"),
        "asked_by": held.asked_by.name,
        "made_at": timezone.now().isoformat(timespec="seconds"),
        "program": __version__,
    }


def _publish(held: Copy, stored: spool.Stored) -> None:
    if Copy.objects.filter(pk=held.pk, path=stored.path).exists():
        return  # it was published before; its answer was lost
    with transaction.atomic():
        leases.mark_done(held)
        Copy.objects.filter(pk=held.pk).update(
            path=stored.path,
            sha256=stored.sha256,
            size_bytes=stored.size_bytes,
            ready_at=Now(),
            doing="",
        )


def _clear(name: str) -> None:
    """Remove what was put at rest, unless a row names it; without the database nobody knows."""
    with suppress(DatabaseError, InterfaceError):
        if not Copy.objects.filter(path=name).exists():
            spool.remove(name)

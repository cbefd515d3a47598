"""Beginning, handing out and removing copies."""

import logging
from collections.abc import Iterable
from datetime import timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.access import get_or_404
from studio.accounts.models import Person
from studio.clips.models import Clip
from studio.clips.processing import pictures
from studio.clips.storage import spool
from studio.jobs import leases
from studio.jobs.queue import send
from studio.rights import access
from studio.rights.access import Scope

from . import room
from .models import Copy

log = logging.getLogger(__name__)

TASK, QUEUE = "studio.rights.tasks.make_copy", "pictures"
REST = timedelta(minutes=10)  # from one that is ready to the next
GIVES_WAY = timedelta(minutes=10)  # to pictures that wait for the same worker; then it is its turn


class NotNow(Exception):
    """Why no copy is begun just now: a sentence with the value, the bound and what to do."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


def begin(scope: Scope, person: Person) -> Copy:
    """Have a copy made for ``person``, in place of an older one. One that is being made stays.

    Raises
    ------
    NotNow
        Where one was ready only just now, or the disk has no room.
    """
    with transaction.atomic():
        list(Person.objects.select_for_update().filter(pk=person.pk))  # of two presses one waits
        before = of(scope, person)
        if before is not None:
            if before.is_moving:
                return before
            _require_rest(before)
        if room.missing_bytes(scope):
            raise NotNow(_no_room(scope))
        if before is not None:
            before.delete()
        made = Copy.objects.create(asked_by=person, about=scope.person, studio=scope.studio)
        transaction.on_commit(lambda: dispatch(made.pk))
    return made


def of(scope: Scope, person: Person) -> Copy | None:
    """The copy that ``person`` has, or that is being made for her."""
    return Copy.objects.filter(asked_by=person, about=scope.person, studio=scope.studio).first()


def for_download(person: Person, pk: UUID) -> Copy:
    """A copy of her own that is ready, and that she may still ask for, or 404."""
    ready = Copy.objects.filter(
        state=Copy.State.READY, ready_at__gt=timezone.now() - Copy.KEPT, asked_by=person
    )
    copy = get_or_404(ready.select_related("about", "studio"), pk)
    access.scope_of(person, copy.about, copy.studio)
    return copy


def remove(person: Person, pk: UUID) -> None:
    """Remove a copy of her own, made or being made, or 404."""
    get_or_404(Copy.objects.filter(asked_by=person), pk).delete()


# -- the queue -----------------------------------------------------------------------------


def dispatch(pk: UUID) -> bool:
    """Put one on the queue; says whether the broker took it."""
    return send(TASK, QUEUE, {"copy_id": str(pk)}, Copy.objects.filter(pk=pk))


def claim(pk: str) -> Copy | None:
    """Take one for work, or ``None`` when there is nothing to take, or pictures wait.

    A picture is waited for by somebody who has only just sent it, so it goes first, for a while.
    """
    rows = Copy.objects.filter(pk=pk)
    patient = rows.filter(state=Copy.State.WAITING, created_at__gt=timezone.now() - GIVES_WAY)
    if pictures.wait() and patient.update(dispatched_at=None):
        return None  # the sweep sends it again
    return leases.take(rows)


def sweep() -> None:
    """Send again what was lost; park what workers died at without end; let go what is old."""
    if parked := leases.park_exhausted(Copy):
        log.error("%d copies are parked: workers died at them again and again", parked)
    for copy in leases.lost_among(Copy.objects.all()):
        log.warning("sending copy %s again (was %s)", copy.pk, copy.state)
        dispatch(copy.pk)
    for copy in _outlived():
        copy.delete()


def let_go_those_with(clips: Iterable[Clip]) -> None:
    """Clips are being erased: copies with them go, and those that are being made begin anew."""
    for pupil, studio in {(clip.enrolment.pupil_id, clip.enrolment.studio_id) for clip in clips}:
        _let_go(Copy.objects.filter(about=pupil, studio=studio))


def _let_go(copies: QuerySet[Copy]) -> None:
    states = Copy.State
    copies.filter(state__in=(states.WAITING, states.WORKING)).update(
        state=states.WAITING,
        attempt=0,
        lease_token="",
        lease_until=None,
        dispatched_at=None,
        progress=0.0,
    )
    for copy in copies.filter(state=states.READY):
        copy.delete()


def remove_file(copy: Copy) -> None:
    """A copy's row is gone: so is its file, once that is certain."""
    if copy.path:
        transaction.on_commit(lambda: spool.remove(copy.path))


def _outlived() -> QuerySet[Copy]:
    """Ready for a day; or failed, and there to be read for as long."""
    long_ago = timezone.now() - Copy.KEPT
    ready = Copy.objects.filter(state=Copy.State.READY, ready_at__lte=long_ago)
    failed = Copy.objects.filter(state=Copy.State.FAILED, changed_at__lte=long_ago)
    return ready | failed


def _require_rest(before: Copy) -> None:
    until = before.ready_at and before.ready_at + REST
    if until and until > timezone.now():
        at, free = (
            figures.time_of_day(timezone.localtime(when)) for when in (before.ready_at, until)
        )
        raise NotNow(
            _("This copy was made at %(at)s, and is still here. Another can be made from %(free)s.")
            % {"at": at, "free": free}
        )


def _no_room(scope: Scope) -> str:
    needed = figures.megabytes(room.size_bytes(scope))
    lacking = figures.megabytes(room.missing_bytes(scope))
    return _(
        "A copy needs %(needed)s, and the studio’s disk is too small for it by "
        "%(lacking)s. Ask the teacher, who can ask whoever looks after the server "
        "for more room; then try again."
    ) % {"needed": needed, "lacking": lacking}

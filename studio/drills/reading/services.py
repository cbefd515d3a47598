"""Beginning, sending and forgetting readings."""

import logging

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts.models import Person, Studio
from studio.jobs import leases
from studio.jobs.queue import send
from studio.jobs.rows import Leased
from studio.translating import gettext_lazy

from .models import ScoreReading

log = logging.getLogger(__name__)

# Whichever worker is free: a teacher waits for it, and it takes seconds.
TASK, QUEUE = "studio.drills.tasks.read_score", "sweep"
MOST = 5  # of one person at once; an older one goes

FAMILIAR = {
    "timeout": gettext_lazy("Reading it took longer than {limit_s} seconds and was stopped."),
    "no_memory": gettext_lazy("The server had too little memory to read it."),
}
OURS = gettext_lazy("The program that reads music stopped before it had finished.")


def begin(
    studio: Studio,
    person: Person,
    filename: str,
    content: bytes,
    instrument: str,
    part: str = "",
) -> str:
    """Have a file read; the name under which its reading is found."""
    with transaction.atomic():
        reading = ScoreReading.objects.create(
            studio=studio,
            person=person,
            filename=filename[-200:],
            content=content,
            instrument=instrument,
            part=part,
        )
        mine = ScoreReading.objects.filter(person=person).order_by("-created_at")
        old = list(mine.values_list("pk", flat=True)[MOST:])
        ScoreReading.objects.filter(pk__in=old).delete()
        transaction.on_commit(lambda: dispatch(reading.pk))
    return str(reading.pk)


def dispatch(pk) -> bool:
    """Put one on the queue; says whether the broker took it."""
    return send(TASK, QUEUE, {"reading_id": str(pk)}, ScoreReading.objects.filter(pk=pk))


def claim(pk: str) -> ScoreReading | None:
    """Take one for work, or ``None`` when there is nothing to take."""
    return leases.take(ScoreReading.objects.filter(pk=pk))


def send_lost() -> None:
    """Send again what was lost; park what workers died at without end; forget what is old."""
    if parked := leases.park_exhausted(ScoreReading):
        log.error("%d files of music are parked: workers died at them again and again", parked)
    for reading in leases.lost_among(ScoreReading.objects.defer("content", "result")):
        dispatch(reading.pk)
    old = ScoreReading.objects.filter(created_at__lt=timezone.now() - ScoreReading.LIFETIME)
    old.exclude(state=Leased.PARKED).delete()


def of(person: Person, studios) -> QuerySet[ScoreReading]:
    """Whose it is: the teacher's own, in a studio where she teaches."""
    return ScoreReading.objects.filter(person=person, studio__in=studios).defer("content")


def failure(reading: ScoreReading) -> str:
    """What went wrong and what comes next; empty while all is well."""
    if reading.state == Leased.FAILED:
        return reading.failure_params.get("sentence", OURS)
    if not reading.failure_code:
        return ""
    said = FAMILIAR.get(reading.failure_code, OURS).format(**reading.failure_params)
    ours = _("That is our fault, and your file is kept.")
    if reading.state == Leased.PARKED:
        return _(
            "%(said)s %(ours)s It was tried %(attempt)s times; whoever looks after the "
            "server has been asked to look at it. You can try a shorter page meanwhile."
        ) % {"said": said, "ours": ours, "attempt": reading.attempt}
    return _("%(said)s %(ours)s It is tried again by itself.") % {"said": said, "ours": ours}

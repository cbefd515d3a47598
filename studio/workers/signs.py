"""Signs of life: leaving them, and reading who is at work.

All times are the database's, so that a machine with a wrong clock is not taken for dead.
"""

from collections.abc import Iterable
from datetime import timedelta

from django.db.models import BooleanField, Expression, ExpressionWrapper, Q, QuerySet
from django.db.models.functions import Now

from studio import __version__

from .models import Standing, Worker

EVERY_S = 10.0
# Several signs may be missed: a database that is away, a machine that is busy.
ALIVE = timedelta(seconds=60)
KEPT = timedelta(days=7)  # machines change their names when they are made anew


def begin(name: str, queues: Iterable[str]) -> None:
    """A worker begins to take work from these queues."""
    said = {"queues": f",{','.join(sorted(queues))},", "version": __version__}
    now = {"since": Now(), "seen_at": Now()}
    Worker.objects.update_or_create(name=name[:120], defaults={**said, **now})


def leave(name: str) -> bool:
    """A sign of life; says whether the worker is known (else it has to begin again)."""
    return bool(Worker.objects.filter(name=name[:120]).update(seen_at=Now()))


def alive() -> QuerySet[Worker]:
    return Worker.objects.filter(seen_at__gt=Now() - ALIVE)


def taking(queue: str, workers: QuerySet[Worker] | None = None) -> QuerySet[Worker]:
    """Those of some workers (else of all that ever were) that take this queue's work."""
    rows = Worker.objects.all() if workers is None else workers
    return rows.filter(queues__contains=f",{queue},")


def last_seen(queue: str, lately: timedelta) -> QuerySet:
    """When a worker of this queue last gave a sign of life, and whether that was ``lately``.

    Of one row, or none where there never was such a worker.
    """
    recent = ExpressionWrapper(Q(seen_at__gt=Now() - lately), BooleanField())
    rows = taking(queue).order_by("-seen_at").annotate(lately=recent)
    return rows.values_list("seen_at", "lately")[:1]


def forget_old() -> int:
    """Forget workers that were not seen for long."""
    gone, _ = Worker.objects.filter(seen_at__lt=Now() - KEPT).delete()
    return gone


def standing(what: str | Expression) -> QuerySet:
    """How something stood when that was noted last; of one row, or none."""
    return Standing.objects.filter(what=what).values_list("state", flat=True)


def has_changed(what: str, state: str) -> bool:
    """Note how something stands; whether that is news. Of several who look, one is told so."""
    before = standing(what).first()
    if before == state:
        return False
    new = {"state": state, "changed_at": Now()}
    if before is not None:
        return bool(Standing.objects.filter(what=what, state=before).update(**new))
    _, made = Standing.objects.get_or_create(what=what, defaults=new)
    return made

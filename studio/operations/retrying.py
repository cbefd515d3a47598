"""Work that failed, for whoever looks after the service: what, why, and letting it be tried again.

Rows are named by their kind and number alone. Why is said in the sentence that everybody reads,
and in the first line of what the program noted, cleaned as the log is.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet
from django.db.models.functions import Now

from studio import log_lines
from studio.accounts import audit
from studio.accounts.models import Person, Studio
from studio.clips import sentences
from studio.jobs import dead_letters
from studio.jobs.rows import Leased, leased_models

SHOWN = 50
ENDED = (Leased.FAILED, Leased.PARKED)
NOTHING_WRONG = ("no_sound",)  # a recording without sound: nothing to try again
DETAIL_CHARS = 200


@dataclass(frozen=True, slots=True)
class Failed:
    """One row. ``name`` finds it again."""

    name: str
    kind: str
    state: str
    since: datetime
    attempts: int
    clip_id: UUID | None
    why: str
    detail: str


def failed() -> Iterator[Failed]:
    """Failed and parked work of each kind, the longest ago first."""
    for model in leased_models():
        for row in _rows(model).order_by("changed_at")[:SHOWN]:
            yield Failed(
                name=_name(row),
                kind=getattr(row, "kind", model._meta.verbose_name),
                state=row.state,
                since=row.changed_at,
                attempts=row.attempt,
                clip_id=_clip_id(row),
                why=sentences.sentence(row.failure_code, row.failure_params),
                detail=_detail(row),
            )


def try_again(name: str, by: Person) -> int:
    """Let one row (``Failed.name``), or ``all``, be tried from the beginning; says how many.

    The next sweep sends it to a worker.
    """
    return sum(
        _begin(row, by)
        for model in leased_models()
        for row in _rows(model)
        if name in ("all", _name(row))
    )


@transaction.atomic
def _begin(row: Leased, by: Person) -> int:
    model = type(row)
    if row.state == Leased.PARKED:
        changed = dead_letters.try_again(_name(row))
    else:
        changed = _begin_failed(model, row)
    if changed:
        act, kind = audit.Act.TRIED_AGAIN, str(getattr(row, "kind", model._meta.verbose_name))
        audit.record(
            act, by=by, studio=_studio(row), clip=_clip_id(row), detail=kind, as_operator=True
        )
    return changed


def _begin_failed(model: type[Leased], row: Leased) -> int:
    """What was judged unusable; for when the judgement was mended."""
    fresh = {"attempt": 0, "lease_token": "", "lease_until": None, "dispatched_at": None}
    why = {"failure_code": "", "failure_params": {}, "failure_detail": "", "progress": 0.0}
    return model._default_manager.filter(pk=row.pk, state=Leased.FAILED).update(
        state=Leased.WAITING, changed_at=Now(), **fresh, **why
    )


def _rows(model: type[Leased]) -> QuerySet:
    """What is listed; of a file of music that holds none whoever brought it was told."""
    ended = ENDED if _is_of_clips(model) else (Leased.PARKED,)
    rows = model._default_manager.filter(state__in=ended).exclude(failure_code__in=NOTHING_WRONG)
    return rows.filter(_not_erased(model))


def _is_of_clips(model: type[Leased]) -> bool:
    return hasattr(model, "clip_id")


def _not_erased(model: type[Leased]) -> Q:
    """Work on an erased clip is done by nobody; other kinds go with their clip."""
    fields = {field.name for field in model._meta.get_fields()}
    return Q(clip__erased_at=None) if "clip" in fields else Q()


def _clip_id(row: Leased) -> UUID | None:
    return getattr(row, "clip_id", None)


def _studio(row: Leased) -> Studio | None:
    """Whose work it is; None for work that no studio is named for."""
    clip = getattr(row, "clip", None)
    return clip.enrolment.studio if clip is not None else getattr(row, "studio", None)


def _name(row: Leased) -> str:
    return f"{row._meta.label_lower}/{row.pk}"


def _detail(row: Leased) -> str:
    """The last line of what was noted: where the program says what went wrong."""
    noted = row.failure_detail.strip().splitlines()
    return log_lines.cleaned(noted[-1])[:DETAIL_CHARS] if noted else ""

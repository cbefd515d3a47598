"""A row of the waiting list: a review that waits, how long it has, and the forms under it.

The forms differ in the clip alone. Their template is rendered once for each kind of row, with
places where the clip's number, its title and its pupil stand; filling them in for forty rows takes
a twentieth of rendering it forty times.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.http import HttpRequest
from django.template import loader
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.compiled import ENGINE
from studio.review.models import Review
from studio.review.web.shared import clip_states

LONG_WAIT = timedelta(days=14)  # the line under a wait is full from here on


@dataclass(frozen=True, slots=True)
class Waiting:
    """One row: the review, where its clip is, and its wait as a part of a long wait (0 to 100)."""

    review: Review
    place: clip_states.Whereabouts
    waited: timedelta
    mine: bool
    promised: timedelta
    arrange: SafeString | str = ""

    @property
    def percent(self) -> int:
        return min(100, max(2, figures.percent(self.waited / LONG_WAIT, 1)))

    @property
    def step(self) -> clip_states.Step | None:
        """Where listening is; what is parked comes first, for the teacher waits for that."""
        steps = self.place.steps
        parked = (step for step in steps if step.parked)
        heard = (step for step in steps if step.kind in ("examining", "listening"))
        return next(parked, None) or next(heard, None)

    @property
    def late(self) -> str:
        """How the clip stands to the studio's promise, where that is worth saying."""
        return lateness(self.waited, self.promised)


def lateness(waited: timedelta, promised: timedelta) -> str:
    """``2 days late``, ``due today``; empty while there is more than a day left.

    >>> day = timedelta(days=1)
    >>> lateness(9.2 * day, 7 * day), lateness(6.5 * day, 7 * day), lateness(2 * day, 7 * day)
    ('2 days late', 'due within a day', '')
    """
    over = waited - promised
    if over >= timedelta(days=1):
        return f"{over.days} day{'s' if over.days > 1 else ''} late"
    if over >= timedelta(0):
        return "late"
    return _("due within a day") if over > -timedelta(days=1) else ""


TEMPLATE = "review/waiting_arrange.html"
# Nothing that anybody wrote is put into the text that is searched for them.
PK = UUID("a55e5b0c-0000-4000-8000-5c1ff0fdc11b")
TITLE, PUPIL = "\ue000title\ue001", "\ue000pupil\ue001"


@dataclass(frozen=True)
class _Place:
    pupil: str
    studio_id: int


@dataclass(frozen=True)
class _Clip:
    """Stands in for a clip."""

    pk: UUID
    enrolment: _Place

    def __str__(self) -> str:
        return TITLE


def with_forms(request: HttpRequest, rows: Sequence[Waiting], context: dict) -> list[Waiting]:
    """Rows with the forms that go with them."""
    kinds: dict[tuple[Any, ...], str] = {}
    done = []
    for row in rows:
        studio_id = row.review.clip.enrolment.studio_id
        kind = (row.mine, row.review.taken_by_id, studio_id)
        if kind not in kinds:
            there = {"row": row, "review": row.review, "clip": _Clip(PK, _Place(PUPIL, studio_id))}
            kinds[kind] = loader.render_to_string(TEMPLATE, context | there, request, ENGINE)
        done.append(replace(row, arrange=_filled(kinds[kind], row)))
    return done


def _filled(text: str, row: "Waiting") -> SafeString:
    clip = row.review.clip
    said = text.replace(str(PK), str(clip.pk))
    said = said.replace(TITLE, escape(str(clip)).translate(_WITHOUT))
    return mark_safe(said.replace(PUPIL, escape(str(clip.enrolment.pupil)).translate(_WITHOUT)))


_WITHOUT = {0xE000: None, 0xE001: None}  # what marks the places is no letter of any script

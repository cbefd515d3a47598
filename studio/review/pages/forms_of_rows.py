"""The forms under each row of the waiting list, which differ in the clip alone.

The template is rendered once for each kind of row, with places where the clip's number, its title
and its pupil stand; filling them in for forty rows takes a twentieth of rendering it forty times.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

from django.http import HttpRequest
from django.template import loader
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from studio.accounts.compiled import ENGINE

from .waiting_rows import Waiting

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

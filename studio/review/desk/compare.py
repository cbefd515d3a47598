"""Comparing at the desk: a clip with an earlier one, and two playings of one run.

``GET /clips/<uuid>/compare/?with=<uuid>&note=<event>`` sets the clip against an earlier one, double
stop by double stop; ``note`` is the row that is meant. ``GET /clips/<uuid>/playings/<event>/``
sets two playings of the run that begins with that event side by side: a page of its own, or with
``X-Desk: parts`` the part that stands in the run's block.
"""

import json
from dataclasses import dataclass
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET

from studio.review import access, comparing
from studio.review.judging import expected_notes, judged, policy_like
from studio.review.models import Review
from studio.review.pages.reading import is_playable

from . import keys, words
from .compared import bare_blocks, figure_of, last_playings, lines_of, sounded, table_of
from .exchanges import on_desk, wants_parts
from .ledger import Block, Row
from .offered import Offered, offered_to
from .page import has_poster, policy_in_words


@dataclass(frozen=True, slots=True)
class Take:
    """One of the two clips, as the page plays it."""

    key: str
    title: str
    review: Review
    playable: bool
    has_poster: bool


@require_GET
@gzip_page
@on_desk
def compare(request: HttpRequest, review: Review) -> HttpResponse:
    """The page; with no earlier clip to be compared with it says so."""
    offered = offered_to(request.user, review)
    other = _chosen(request, review, offered)
    context = {
        "area": "teacher",
        "clip": review.clip,
        "pupil": review.clip.enrolment.pupil,
        "offered": offered,
        "other": other,
        "note": request.GET.get("note", ""),
        "keys_changed": json.dumps(keys.changed_by(request.user)),
        **(_compared(review, other, request.GET.get("note", "")) if other else {}),
    }
    return render(request, "review/compare.html", context)


@require_GET
@on_desk
def playings(request: HttpRequest, review: Review, event: int) -> HttpResponse:
    """Two playings of a run: first and last, unless others are asked for."""
    block = next((b for b in bare_blocks(judged(review)) if b.key == f"b{event}"), None)
    if block is None or len(block.rows) < 2:
        raise Http404
    first = _row(block, request.GET.get("first"), 0)
    last = _row(block, request.GET.get("last"), -1)
    changed = comparing.change(sounded(block, first), sounded(block, last))
    context = {
        "area": "teacher",
        "clip": review.clip,
        "event": event,
        "run": block,
        "playings": [{"row": row, "figure": figure_of(row)} for row in block.rows],
        "chosen": [{"row": row, "figure": figure_of(row)} for row in (first, last)],
        "said": words.change(changed),
        "playable": is_playable(review.clip),
    }
    part = "review/desk_playings.html"
    page = part if wants_parts(request) else "review/desk_playings_page.html"
    return render(request, page, context)


def _chosen(request: HttpRequest, review: Review, offered: Offered) -> Review | None:
    """The review to compare with, its drill's page and all; 404 for one out of reach."""
    asked = request.GET.get("with")
    if asked is None:
        if offered.default is None:
            return None
        asked = str(offered.default.clip_id)
    try:
        clip = UUID(asked)
    except ValueError:
        raise Http404 from None
    found = access.earlier_heard(request.user, review.clip).filter(clip=clip).first()
    if found is None:
        raise Http404
    return found


def _compared(review: Review, other: Review, note: str) -> dict:
    """What the page shows of two clips; nothing where one of them is no longer heard."""
    now, then = judged(review), judged(other, policy_like(other, review))
    if now is None or then is None:
        return {}
    expected = expected_notes(review)
    by_ref = expected is not None and expected == expected_notes(other)
    found = comparing.pairs(last_playings(then), last_playings(now), by_ref=by_ref)
    meant = int(note) if note.isascii() and note.isdigit() else None
    lines = lines_of(found, then=_desk_of(other), now=_desk_of(review), meant=meant)
    return {
        "lines": lines,
        "table": table_of(lines),
        "counts": comparing.counted(found),
        "both": sum(pair.then is not None and pair.now is not None for pair in found),
        "takes": [_take("then", "Then", other), _take("now", "Now", review)],
        "policy": policy_in_words(now),
        "by_ref": by_ref,
    }


def _desk_of(review: Review) -> str:
    return reverse("clip_page", args=[review.clip_id])


def _take(key: str, title: str, review: Review) -> Take:
    return Take(key, title, review, is_playable(review.clip), has_poster(review.clip))


def _row(block: Block, asked: str | None, usual: int) -> Row:
    """The playing that is asked for, else the usual one."""
    return next((row for row in block.rows if row.key == asked), block.rows[usual])

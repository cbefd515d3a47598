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
from studio.review.comparing import Pair, Sounded
from studio.review.judging import Judged, expected_notes, judged, policy_like
from studio.review.models import Review
from studio.review.pages.reading import is_playable

from . import keys, words, written
from .exchanges import on_desk, wants_parts
from .ledger import Block, Row, in_written_order, shared_blocks
from .offered import Offered, offered_to
from .page import has_poster, policy_in_words


@dataclass(frozen=True, slots=True)
class Figure:
    """A playing as it is shown, with where it stands at its own clip's desk."""

    text: str
    clock: str
    start: str
    end: str
    address: str


@dataclass(frozen=True, slots=True)
class Line:
    """A row of the table."""

    name: str
    then: Figure | None
    now: Figure | None
    way: str
    said: str
    chosen: bool


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
    block = next((b for b in _blocks(judged(review)) if b.key == f"b{event}"), None)
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


def last_playings(judged: Judged) -> list[Sounded]:
    """Of each run its last playing that could be measured, in the order written or played."""
    page = written.page_of(judged)
    blocks = _blocks(judged)
    if page is not None:
        blocks = in_written_order(blocks, [item.id for item in page.written])
    found = []
    for block in blocks:
        rows = [row for row in block.rows if not row.also]  # of a chord no one interval is meant
        if block.kind == "run" and rows:
            measured = [row for row in rows if row.cents is not None]
            found.append(sounded(block, (measured or rows)[-1]))
    return found


def sounded(block: Block, row: Row) -> Sounded:
    return Sounded(
        name=block.name,
        start_s=row.start_s,
        end_s=row.end_s,
        cents=row.cents,
        uncertainty_cents=row.uncertainty_cents,
        ref=block.ref,
        anchor=block.anchor(row),
        events=tuple(each.event for each in (*block.rows, *block.singles)),
    )


def figure_of(playing: Row | Sounded) -> str:
    """``+18 ±1 c``, or that it is unsure."""
    if playing.cents is None or playing.uncertainty_cents is None:
        return "unsure"
    return f"{words.signed(playing.cents)} {words.plus_minus(playing.uncertainty_cents)}"


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
    return {
        "lines": [_line(pair, review, other, meant) for pair in found],
        "counts": comparing.counted(found),
        "both": sum(pair.then is not None and pair.now is not None for pair in found),
        "takes": [_take("then", "Then", other), _take("now", "Now", review)],
        "policy": policy_in_words(now),
        "by_ref": by_ref,
    }


def _line(pair: Pair, review: Review, other: Review, meant: int | None) -> Line:
    changed = pair.change
    return Line(
        name=pair.name,
        then=_figure(pair.then, other),
        now=_figure(pair.now, review),
        way=changed.way,
        said=words.change(changed),
        chosen=pair.now is not None and meant in pair.now.events,
    )


def _figure(playing: Sounded | None, review: Review) -> Figure | None:
    if playing is None:
        return None
    address = f"{reverse('clip_page', args=[review.clip_id])}#{playing.anchor}"
    return Figure(
        text=figure_of(playing),
        clock=words.moment(playing.start_s, 1),
        start=f"{playing.start_s:.3f}",
        end=f"{playing.end_s:.3f}",
        address=address,
    )


def _take(key: str, title: str, review: Review) -> Take:
    return Take(key, title, review, is_playable(review.clip), has_poster(review.clip))


def _blocks(found: Judged | None) -> list[Block]:
    """The ledger as the judgement alone has it."""
    return shared_blocks(found.heard) if found else []


def _row(block: Block, asked: str | None, usual: int) -> Row:
    """The playing that is asked for, else the usual one."""
    return next((row for row in block.rows if row.key == asked), block.rows[usual])

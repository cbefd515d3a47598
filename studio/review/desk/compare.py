"""Comparing at the desk: a clip with an earlier one, and two playings of one run.

``GET /clips/<uuid>/compare/?with=<uuid>&note=<event>`` sets the clip against an earlier one, double
stop by double stop; ``note`` is the row that is meant, or ``at`` a time of the clip. Where that was
not played then, the nearest that was is chosen. ``GET /clips/<uuid>/playings/<event>/``
sets two playings of the run that begins with that event side by side: a page of its own, or with
``X-Desk: parts`` the part that stands in the run's block.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET

from studio import figures
from studio.review import access, comparing
from studio.review.comparing import Pair
from studio.review.judging import Judged, expected_notes, judged, policy_like
from studio.review.models import Review
from studio.review.pages.reading import is_playable

from . import keys, words
from .blocks import Block, Row
from .compared import bare_blocks, figure_of, last_playings, lines_of, sounded, table_of
from .exchanges import on_desk, wants_parts
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


@dataclass(frozen=True, slots=True)
class Meant:
    """The place of the clip that the page is opened for: an event, or a time in seconds."""

    event: int | None = None
    at_s: float | None = None

    def __bool__(self) -> bool:
        return self != Meant()

    @property
    def asked(self) -> dict[str, str]:
        """The place as an address has it."""
        if self.event is not None:
            return {"note": str(self.event)}
        return {} if self.at_s is None else {"at": figures.decimal(self.at_s)}

    @classmethod
    def read(cls, asked: Mapping[str, str]) -> "Meant":
        """What an address asks for; what cannot be read is not asked."""
        event = asked.get("note", "")
        try:
            at_s = figures.parse_place(asked.get("at", ""))
        except ValueError:
            at_s = None
        return cls(figures.whole(event), at_s)


@require_GET
@gzip_page
@on_desk
def compare(request: HttpRequest, review: Review) -> HttpResponse:
    """The page; with no earlier clip to be compared with it says so."""
    offered = offered_to(request.user, review)
    meant = Meant.read(request.GET)
    other = _chosen(request, review, offered)
    context = {
        "area": "teacher",
        "clip": review.clip,
        "pupil": review.clip.enrolment.pupil,
        "offered": offered,
        "other": other,
        "meant": meant,
        "keys_changed": json.dumps(keys.changed_by(request.user)),
        **(_compared(review, other, meant) if other else {}),
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


def _compared(review: Review, other: Review, meant: Meant) -> dict:
    """What the page shows of two clips; nothing where one of them is no longer heard."""
    now, then = judged(review), judged(other, policy_like(other, review))
    if now is None or then is None:
        return {}
    expected = expected_notes(review)
    by_ref = expected is not None and expected == expected_notes(other)
    found = comparing.pairs(last_playings(then), last_playings(now), by_ref=by_ref)
    chosen = comparing.landing(found, meant.event, _time_of(meant, now))
    lines = lines_of(found, then=_desk_of(other), now=_desk_of(review), chosen=chosen)
    return {
        "lines": lines,
        "landed": _landed(found, meant, chosen),
        "table": table_of(lines),
        "counts": comparing.counted(found),
        "both": sum(pair.then is not None and pair.now is not None for pair in found),
        "takes": [_take("then", "Then", other), _take("now", "Now", review)],
        "policy": policy_in_words(now),
        "by_ref": by_ref,
    }


def _time_of(meant: Meant, now: Judged) -> float:
    """When in the clip: where the event begins, the time that was asked for, or the beginning."""
    events = now.measurement["events"]
    begun = (event["start_s"] for event in events if event["id"] == meant.event)
    return next(begun, meant.at_s or 0.0)


def _landed(found: Sequence[Pair], meant: Meant, chosen: Pair | None) -> str:
    """Why another row is chosen than the one that was meant; empty where it is that one.

    A time is near to whatever is nearest: there is nothing to explain.
    """
    if meant.event is None:
        return ""
    own = next((pair for pair in found if pair.now and meant.event in pair.now.events), None)
    if own is not None and own is chosen:
        return ""
    why = f"The {own.name} was not played then." if own else "There is no double stop there."
    return f"{why} The nearest in both: {chosen.name}." if chosen else why


def _desk_of(review: Review) -> str:
    return reverse("clip_page", args=[review.clip_id])


def _take(key: str, title: str, review: Review) -> Take:
    return Take(key, title, review, is_playable(review.clip), has_poster(review.clip))


def _row(block: Block, asked: str | None, usual: int) -> Row:
    """The playing that is asked for, else the usual one."""
    return next((row for row in block.rows if row.key == asked), block.rows[usual])

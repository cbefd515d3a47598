"""Comparing at the desk: a clip with an earlier one, and two playings of one run.

``GET /clips/<uuid>/compare/?with=<uuid>&note=<event>`` sets the clip against an earlier one, double
stop by double stop; ``note`` is the row that is meant, or ``at`` a time of the clip. Where that was
not played then, the nearest that was is chosen. ``GET /clips/<uuid>/playings/<event>/``
sets two playings of the run that begins with that event side by side: a page of its own, or with
``X-Desk: parts`` the part that stands in the run's block.

A row of the table is written without a template, as the ledger's are (:mod:`.ledger_html`): a long
clip has hundreds.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET

from studio import figures
from studio.clips.processing import rehearing
from studio.review import access, comparison
from studio.review.comparison import Offered, Pair, Sounded, offered_to
from studio.review.marks.judging import Judged, expected_notes, judged, policy_like
from studio.review.models import Review
from studio.review.web.shared import keys
from studio.review.web.shared.pictures import has_poster, is_playable

from . import score_page, words
from .blocks import Block, Row
from .exchanges import on_desk, review_of_clip, wants_parts
from .ledger import in_written_order, shared_blocks
from .page import policy_in_words


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
    # One listening: its playings are of one engine.
    first = _row(block, request.GET.get("first"), 0)
    last = _row(block, request.GET.get("last"), -1)
    changed = comparison.change(sounded(block, first), sounded(block, last))
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
    default = None if offered.default is None else str(offered.default.clip_id)
    asked = request.GET.get("with", default)
    if asked is None:
        return None
    return review_of_clip(access.earlier_heard(request.user, review.clip), asked)


def _compared(review: Review, other: Review, meant: Meant) -> dict:
    """What the page shows of two clips; nothing where one of them is no longer heard."""
    now, then = judged(review), judged(other, policy_like(other, review))
    if now is None or then is None:
        return {}
    expected = expected_notes(review)
    by_ref = expected is not None and expected == expected_notes(other)
    found = comparison.pairs(last_playings(then), last_playings(now), by_ref=by_ref)
    chosen = comparison.landing(found, meant.event, _time_of(meant, now))
    lines = lines_of(found, then=_desk_of(other), now=_desk_of(review), chosen=chosen)
    return {
        "lines": lines,
        "landed": _landed(found, meant, chosen),
        "table": table_of(lines),
        "counts": comparison.counted(found),
        "not_compared": _why_not(then, now),
        "both": sum(pair.then is not None and pair.now is not None for pair in found),
        "takes": [_take("then", _("Then"), other), _take("now", _("Now"), review)],
        "policy": policy_in_words(now),
        "by_ref": by_ref,
    }


def _why_not(then: Judged, now: Judged) -> str:
    """Why no change is said of two clips; empty where it is."""
    if then.listening.generation == now.listening.generation:
        return ""
    older = min(then, now, key=lambda judged: judged.listening.generation)
    which = _("This clip") if older is now else _("The earlier clip")
    why = _(
        "%(which)s was heard by an earlier version of the program, which measured differently"
    ) % {"which": which}
    if rehearing.is_promised(older.review.clip_id):
        return _("%(why)s. It will be heard again by itself; then the two can be compared.") % {
            "why": why
        }
    return _("%(why)s, so no change is said.") % {"why": why}


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
    why = (
        _("The %(own)s was not played then.") % {"own": own.name}
        if own
        else _("There is no double stop there.")
    )
    return (
        _("%(why)s The nearest in both: %(chosen)s.") % {"why": why, "chosen": chosen.name}
        if chosen
        else why
    )


def _desk_of(review: Review) -> str:
    return reverse("clip_page", args=[review.clip_id])


def _take(key: str, title: str, review: Review) -> Take:
    return Take(key, title, review, is_playable(review.clip), has_poster(review.clip))


def _row(block: Block, asked: str | None, usual: int) -> Row:
    """The playing that is asked for, else the usual one."""
    return next((row for row in block.rows if row.key == asked), block.rows[usual])


@dataclass(frozen=True, slots=True)
class Figure:
    """A playing as it is shown, with where it stands at its own clip's desk."""

    text: str
    clock: str
    span: str
    address: str


@dataclass(frozen=True, slots=True)
class Line:
    """A row of the table. ``chosen`` is the one to begin with."""

    name: str
    then: Figure | None
    now: Figure | None
    way: str
    said: str
    chosen: bool


def bare_blocks(found: Judged | None) -> list[Block]:
    """The ledger as the judgement alone has it."""
    return shared_blocks(found.heard) if found else []


def last_playings(judged: Judged) -> list[Sounded]:
    """Of each run its last playing that could be measured, in the order written or played."""
    page = score_page.page_of(judged)
    blocks = bare_blocks(judged)
    if page is not None:
        blocks = in_written_order(blocks, [item.id for item in page.written])
    found = []
    for block in blocks:
        rows = _double_stops(block)
        if rows:
            measured = [row for row in rows if row.cents is not None]
            last = sounded(block, (measured or rows)[-1])
            found.append(replace(last, generation=judged.listening.generation))
    return found


def _double_stops(block: Block) -> list[Row]:
    """Its playings; where two notes are written, also those that could only be heard as one."""
    pairs = [row for row in block.rows if row.voices == 2]
    return pairs or [row for row in block.rows if block.ref and row.voices == 1]


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
    return f"{figures.signed(playing.cents)} {figures.plus_minus(playing.uncertainty_cents)}"


def lines_of(found: Iterable[Pair], *, then: str, now: str, chosen: Pair | None) -> list[Line]:
    """A line a pair. ``then`` and ``now`` are the desks' addresses."""
    return [_line(pair, then, now, pair is chosen) for pair in found]


def table_of(lines: Sequence[Line]) -> SafeString:
    """The table's rows."""
    return mark_safe("".join(_table_row(line) for line in lines))  # every word goes through escape


def _line(pair: Pair, then: str, now: str, chosen: bool) -> Line:
    changed = pair.change
    return Line(
        name=pair.name,
        then=_figure(pair.then, then),
        now=_figure(pair.now, now),
        way=changed.way,
        said=words.change(changed),
        chosen=chosen,
    )


def _figure(playing: Sounded | None, desk: str) -> Figure | None:
    if playing is None:
        return None
    return Figure(
        text=figure_of(playing),
        clock=figures.place(playing.start_s, 1),
        span=f"{figures.decimal(playing.start_s)} {figures.decimal(playing.end_s)}",
        address=f"{desk}#{playing.anchor}",
    )


def _table_row(line: Line) -> str:
    spans = "".join(
        f' data-{take}="{figure.span}"'
        for take, figure in (("then", line.then), ("now", line.now))
        if figure
    )
    return (
        f"<tr data-line{spans}{' data-chosen' if line.chosen else ''}>"
        f'<th scope="row"><span data-pick>{escape(line.name)}</span></th>'
        f"{_cell(_('then'), line.then, line.name)}{_cell(_('now'), line.now, line.name)}"
        f'<td class="change {line.way}">{escape(line.said)}</td></tr>'
    )


def _cell(take: str, figure: Figure | None, name: str) -> str:
    if figure is None:
        return '<td class="number"></td>'
    at = _("%(take)s, at %(moment)s") % {"take": take, "moment": figure.clock}
    return (
        f'<td class="number"><a href="{figure.address}" title="{at}">'
        f'{escape(figure.text)}<span class="out-of-sight"> {take}, {escape(name)}</span></a></td>'
    )

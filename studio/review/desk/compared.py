"""What a clip shows of each double stop, for comparing, and the rows of the table of two clips.

A row is written without a template, as the ledger's are (see ``markup``): a long clip has hundreds.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from studio import figures
from studio.review.comparing import Pair, Sounded
from studio.review.judging import Judged

from . import words, written
from .blocks import Block, Row
from .ledger import in_written_order, shared_blocks


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
    page = written.page_of(judged)
    blocks = bare_blocks(judged)
    if page is not None:
        blocks = in_written_order(blocks, [item.id for item in page.written])
    found = []
    for block in blocks:
        rows = _double_stops(block)
        if rows:
            measured = [row for row in rows if row.cents is not None]
            found.append(sounded(block, (measured or rows)[-1]))
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
    return mark_safe("".join(_row(line) for line in lines))  # every word goes through escape


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


def _row(line: Line) -> str:
    spans = "".join(
        f' data-{take}="{figure.span}"'
        for take, figure in (("then", line.then), ("now", line.now))
        if figure
    )
    return (
        f"<tr data-line{spans}{' data-chosen' if line.chosen else ''}>"
        f'<th scope="row"><span data-pick>{escape(line.name)}</span></th>'
        f"{_cell('then', line.then, line.name)}{_cell('now', line.now, line.name)}"
        f'<td class="change {line.way}">{escape(line.said)}</td></tr>'
    )


def _cell(take: str, figure: Figure | None, name: str) -> str:
    if figure is None:
        return '<td class="number"></td>'
    return (
        f'<td class="number"><a href="{figure.address}" title="{take}, at {figure.clock}">'
        f'{escape(figure.text)}<span class="out-of-sight"> {take}, {escape(name)}</span></a></td>'
    )

"""The HTML of a ledger's rows: what a judgement says, before marks and comments.

Two thousand of them are on one page, and a template takes ten times as long for each. What is
written here changes only with the judgement, so it is made once and shared (see ``ledger``).
Seconds are carried to the millisecond; every word is escaped.
"""

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from . import words
from .blocks import Block, Lift, Row


def block(block: Block) -> SafeString:
    """All of a block that the judgement alone says."""
    parts = [_head(block) if block.rows else "", _under(block)]
    last = block.last
    if last:
        parts += [f'<p class="aside">{escape(also)}</p>' for also in last.also]
        if last.reason:
            parts.append(f'<p class="aside unsure"><b>Unsure.</b> {escape(last.reason)}</p>')
    parts += [f'<p class="aside">{escape(sentence)}</p>' for sentence in block.said]
    return mark_safe("".join(parts))


def alone(block: Block) -> SafeString:
    """A whole block in which there is neither mark nor comment."""
    ref = f' data-ref="{escape(block.ref)}"' if block.ref else ""
    return mark_safe(f'<li class="block {block.kind}" id="{block.key}"{ref}>{block.markup}</li>')


def _head(block: Block) -> str:
    first, last, many = block.rows[0], block.rows[-1], len(block.rows)
    label = last.spoken
    if many > 1:  # the row shows when the first began, and how the last was
        label = _("%(clock)s%(clock_2)s, the last of %(many)s playings") % {
            "clock": first.clock,
            "clock_2": label.removeprefix(last.clock),
            "many": many,
        }
    return (
        f'<button type="submit" class="head {last.verdict}" id="{block.key}-head"'
        f"{_place(first.event, first.start, last.end, label)}>"
        f'<span class="clock">{first.clock}</span> '
        f'<span class="what">{escape(block.name)}</span> '
        f"{lift(block.lift)}"
        f'<span class="dev"><b>{last.deviation}</b> <small>{last.plus_minus}</small></span>'
        "</button>"
    )


def _under(block: Block) -> str:
    """The playings, how they went, and the notes played separately."""
    parts = []
    if len(block.rows) > 1:
        rows = "".join(_row(row, "playing") for row in block.rows)
        parts.append(f'<ol class="playings plain-list">{rows}</ol>{_trend(block)}')
        if not block.singles:
            parts.append(_earlier(block))
    if block.singles:
        rows = "".join(_row(row, "single") for row in block.singles)
        parts.append(
            f'<details class="singles" id="{block.key}-singles" data-singles>'
            f"<summary>{_singles_summary(block)}</summary>"
            f'<ol class="plain-list">{rows}</ol>{_earlier(block)}</details>'
        )
    return f'<div class="under">{"".join(parts)}</div>' if parts else ""


def _trend(block: Block) -> str:
    """How the run went; it leads to any two of its playings, by an address below the clip's."""
    return (
        f'<a class="trend" href="playings/{block.rows[0].event}/" data-act="playings"'
        f' title="{_("Compare two playings")}">'
        f"{escape(block.trend) or _('compare')}{_which(block)}</a>"
    )


def _earlier(block: Block) -> str:
    """Leads to this double stop in an earlier clip; shown only where there is one."""
    if not block.rows:
        return ""
    return (
        f'<a class="earlier" href="compare/?note={block.rows[0].event}">'
        f"{_('then and now')}{_which(block)}</a>"
    )


def _which(block: Block) -> str:
    """For a screen reader, which double stop a link is about."""
    return f'<span class="out-of-sight">: {escape(block.name)}, {block.rows[0].clock}</span>'


def _singles_summary(block: Block) -> str:
    many = len(block.singles)
    if block.rows:
        return _("%(many)s played separately%(value)s") % {
            "many": many,
            "value": f", {block.broken} c" if block.broken else "",
        }
    notes = _("single note") if many == 1 else _("single notes")
    return f'<span class="clock">{block.clock}</span> {many} {notes}'


def _row(row: Row, looks: str) -> str:
    name, label = (f"{escape(row.name)} ", row.spoken) if looks == "single" else ("", _figure(row))
    return (
        f'<li><button type="submit" class="{looks} {row.verdict}{" last" if row.last else ""}"'
        f' id="e{row.event}"{_place(row.event, row.start, row.end, label)}>'
        f"<small>{row.clock}</small> {name}{row.deviation}</button></li>"
    )


def _figure(row: Row) -> str:
    """A playing for a screen reader: as its row shows it, the figure before the name."""
    figure = f"{row.deviation} {row.plus_minus}".strip() if row.deviation else ""
    parts = (row.clock, figure, row.name, words.VERDICT_WORDS.get(row.verdict, ""))
    return ", ".join(str(part) for part in parts if part)


def _place(event: int, start: str, end: str, label: str) -> str:
    """What the page's script reads of a row, and what a screen reader says."""
    return (
        f' form="from" name="at" value="{start}"'
        f' data-row tabindex="-1" data-event="{event}" data-start="{start}" data-end="{end}"'
        f' aria-label="{escape(label)}"'
    )


def lift(lift: Lift | None) -> str:
    """The small picture of a run's playings; an empty place where nothing is judged."""
    if lift is None:
        return '<span class="lift"></span>'
    hairs = f'<path class="hair" d="{lift.hairs}"/>' if lift.hairs else ""
    way = f'<path class="way" d="{lift.way}"/><path class="dash" d="{lift.earlier}"/>'
    return (
        f'<svg class="lift" viewBox="0 0 {lift.width} {lift.height}" width="{lift.width}"'
        f' height="{lift.height}" aria-hidden="true"><path class="target" d="{lift.target}"/>'
        f'{hairs}{way if lift.way else ""}<path class="give" d="{lift.give}"/>'
        f'<path class="dash last{" unsure" if lift.unsure else ""}" d="{lift.last}"/></svg>'
    )

"""The drill's page above the ledger: what is written, with what the clip showed of it."""

import logging

from django.utils.safestring import SafeString, mark_safe

from studio.drills.sheets import leaves
from studio.notation import Score, Written
from studio.notation.accidentals import with_accidentals
from studio.notation.engraving import NotEngraved, engrave
from studio.notation.naming import name_of
from studio.review.marks import drill_results
from studio.review.marks.drill_results import Shown
from studio.review.marks.judging import KEPT_S, Judged
from studio.review.ttl_cache import TtlCache

log = logging.getLogger(__name__)

KEPT = 12  # pages, of some 100 kB
LAYOUT = "incipit"  # as wide as the ledger: neither a phone nor a whole screen


def page_of(judged: Judged | None) -> Score | None:
    """The page that a clip answers; ``None`` where it answers none, or nothing was heard yet."""
    answers = judged.review.answers if judged else None
    return answers.version.page if answers else None


def bars_of(page: Score | None) -> list[int]:
    """The numbers of a page's bars."""
    return sorted({item.bar for item in page.written}) if page else []


def notes_of_bars(page: Score) -> dict[int, str]:
    """The ids of what is written in each bar, in one string each."""
    found: dict[int, list[str]] = {}
    for item in page.written:
        found.setdefault(item.bar, []).append(item.id)
    return {bar: " ".join(found[bar]) for bar in sorted(found)}


def leaves_of(judged: Judged, page: Score) -> list[SafeString]:
    """The whole page, engraved leaf by leaf, every note with its figure and its name.

    A process keeps the last few: they follow from the page and what is said of its notes alone, and
    the engraver draws for one thread at a time. None where it does not draw this page: the desk is
    the ledger first.
    """
    shown = Shown.from_dict(drill_results.of(judged))
    figures, spoken = (shown.figures, shown.spoken) if shown else ({}, {})
    key = (repr(page), repr(figures), repr(spoken))
    try:
        return _DRAWN.get(key, lambda: _drawn(page, figures, spoken))
    except NotEngraved:
        log.exception("the written page of %d bars cannot be drawn", len(page.bars))
        return []


_DRAWN: TtlCache[tuple[str, str, str], list[SafeString]] = TtlCache(KEPT, KEPT_S)


def _drawn(page: Score, figures: dict, spoken: dict) -> list[SafeString]:
    cut = leaves(with_accidentals(page))
    return [_leaf(leaf, figures, spoken, leaf is cut[-1]) for leaf in cut]


def _leaf(leaf: Score, figures: dict, spoken: dict, ends: bool) -> SafeString:
    plain = name_of(leaf)

    def name(item: Written) -> str:
        return f"{plain(item)}; {spoken[item.id]}" if item.id in spoken else plain(item)

    here = {item.id for item in leaf.written}
    shown = {ref: figure for ref, figure in figures.items() if ref in here}
    drawn = engrave(leaf, layout=LAYOUT, figures=shown, name=name, id_prefix="desk-", ends=ends)
    return mark_safe("".join(drawn))  # the engraver's own markup, in which words are escaped

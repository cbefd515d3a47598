"""A score on a page of ours: leaf by leaf for phone and desk, all of it for paper.

Long scores are cut into leaves at bar lines before they are engraved, so that a page costs what it
shows. Phone and desk stand beside each other in the HTML and the style sheet shows one of them, so
that nothing moves and no script is needed.
"""

import logging
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from django.utils.safestring import SafeString, mark_safe

from studio.figures import whole
from studio.notation import Score, Written
from studio.notation.accidentals import with_accidentals
from studio.notation.engraving import Figure, NotEngraved, engrave
from studio.notation.naming import name_of

log = logging.getLogger(__name__)

LEAF_WRITTEN = 96  # about eight lines on a desk, thirty on a phone
INCIPIT_WRITTEN = 12
SCREENS = ("phone", "desk")
LARGE = {"phone": "phone_large", "desk": "desk"}  # the layout of each where all is to be larger
_REACHABLE = re.compile(r' (?:id|tabindex|role|aria-label|data-ref)="[^"]*"')
_UNUSED = re.compile(r' class="(?!engraved|measure)[^"]*"|<g />|<g></g>|<desc>.*?</desc>', re.S)
_BETWEEN = re.compile(r">\s+<")
_GLYPH = re.compile(r'href="#([^"]+)"')


@dataclass(frozen=True, slots=True)
class Screen:
    """One leaf engraved for one kind of screen."""

    layout: str
    svg: SafeString


@dataclass(frozen=True, slots=True)
class Sheet:
    """One leaf of a score: its number from 1, how many there are, its bars, its engravings."""

    number: int
    count: int
    first_bar: int
    last_bar: int
    screens: tuple[Screen, ...]

    @property
    def previous(self) -> int | None:
        return self.number - 1 if self.number > 1 else None

    @property
    def next(self) -> int | None:
        return self.number + 1 if self.number < self.count else None


def leaves(score: Score, at_most: int = LEAF_WRITTEN) -> list[Score]:
    """The score cut at bar lines; a leaf holds one bar at least."""
    found: list[list] = []
    for bar in score.bars:
        if not found or len(found[-1]) + len(bar) > at_most:
            found.append([])
        found[-1].extend(bar)
    return [score.with_written(written) for written in found]


def leaf_number(text: str | None, count: int) -> int:
    """The leaf that an address asks for; the nearest there is for anything else."""
    return min(max(whole(text) or 1, 1), count)


def sheet_of(
    score: Score,
    asked: str | None = None,
    figures: Mapping[str, Figure] | None = None,
    spoken: Mapping[str, str] | None = None,
    *,
    large: bool = False,
) -> Sheet:
    """One leaf, for both kinds of screen.

    Parameters
    ----------
    score : all of it
    asked : number of the leaf, as an address has it
    figures : what was measured, by id of what is written
    spoken : what a screen reader says of it after its name, likewise
    large : on every screen as large as a drill for who has just begun
    """
    cut = leaves(with_accidentals(replace(score, large=score.large or large)))
    number = leaf_number(asked, len(cut))
    leaf = cut[number - 1]
    screens = tuple(
        Screen(
            screen,
            _svg(
                leaf, LARGE[screen] if large else screen, figures, spoken or {}, number == len(cut)
            ),
        )
        for screen in SCREENS
    )
    return Sheet(number, len(cut), leaf.written[0].bar, leaf.written[-1].bar, screens)


def kept_sheet(
    score: Score,
    asked: str | None = None,
    figures: Mapping[str, Figure] | None = None,
    spoken: Mapping[str, str] | None = None,
    *,
    large: bool = False,
) -> Sheet | None:
    """:func:`sheet_of` for a score that is stored already; ``None`` where it cannot be drawn.

    Whoever made or read it has seen it drawn, by the engraver of that day. Should today's not draw
    it, the rest of the drill's page is worth having without it.
    """
    try:
        return sheet_of(score, asked, figures, spoken, large=large)
    except NotEngraved:
        log.exception("a stored page of %d bars cannot be drawn", len(score.bars))
        return None


def printed(score: Score, figures: Mapping[str, Figure] | None = None) -> list[SafeString]:
    """Every line of music for paper; title and words stand above the first on the same sheet."""
    cut = leaves(with_accidentals(score), 4 * LEAF_WRITTEN)
    drawn = [
        page
        for leaf in cut
        for page in engrave(
            leaf, layout="print", figures=_within(leaf, figures), ends=leaf is cut[-1]
        )
    ]
    return [_safe(_for_eyes(page)) for page in drawn]


def incipit(score: Score) -> str:
    """The beginning as a small picture that says nothing to a screen reader."""
    beginning = leaves(with_accidentals(score), INCIPIT_WRITTEN)[0]
    if len(beginning.written) > INCIPIT_WRITTEN:
        beginning = score.with_written(beginning.written[:INCIPIT_WRITTEN])
    whole = len(beginning.written) == len(score.written)
    (svg,) = engrave(beginning, layout="incipit", ends=whole)
    return _for_eyes(svg)


def _svg(
    leaf: Score,
    layout: str,
    figures: Mapping[str, Figure] | None,
    spoken: Mapping[str, str],
    ends: bool,
) -> SafeString:
    plain = name_of(leaf)

    def name(item: Written) -> str:
        return f"{plain(item)}; {spoken[item.id]}" if item.id in spoken else plain(item)

    shown = _within(leaf, figures)
    (svg,) = engrave(
        leaf, layout=layout, figures=shown, name=name, id_prefix=f"{layout}-", ends=ends
    )
    return _safe(svg)


def _within(leaf: Score, figures: Mapping[str, Figure] | None) -> dict[str, Figure]:
    here = {item.id for item in leaf.written}
    return {ref: figure for ref, figure in (figures or {}).items() if ref in here}


def _for_eyes(svg: str) -> str:
    """Nothing to reach by key or to be read aloud; only the glyphs keep their ids."""
    glyphs = set(_GLYPH.findall(svg))

    def keep(found: re.Match) -> str:
        name = re.fullmatch(r' id="(.*)"', found.group())
        return found.group() if name and name.group(1) in glyphs else ""

    plain = _REACHABLE.sub(keep, svg).replace("<svg ", '<svg aria-hidden="true" ', 1)
    return _UNUSED.sub("", _BETWEEN.sub("><", plain))


def _safe(svg: str) -> SafeString:
    """The engraver's own markup; words from outside were escaped when the tree was written."""
    return mark_safe(svg)

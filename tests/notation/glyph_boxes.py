"""What touches on an engraved page, from the boxes that a browser gives each glyph.

A box is of ink: a glyph's or a stroke's as drawn, a text's from the font's own measures (its line
would be taller than any digit). Two marks collide where less than ``CLEAR`` of a staff space is
between their boxes, either way: to an eye at a stand that is touching. Slurs are left out: the box
of an arch holds much that it goes over.
"""

import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from studio.notation import INTERVALS, Infeasible, Request, Score, generate
from studio.notation.engraving import engrave
from studio.notation.manners import FIRST_BOWS, MANNERS, RHYTHMS, SLURS, STROKES
from studio.notation.request import DIRECTIONS, MINOR_FORMS, PATTERNS
from studio.theory import ALL_KEYS, INSTRUMENTS

LAYOUTS = ("phone", "desk", "print")
CLEAR = 0.15  # of a staff space: chosen; on paper about a quarter of a millimetre
SCRIPT = (Path(__file__).parent / "glyph_boxes.js").read_text()
ASKED = f"(clear) => {{ {SCRIPT}\n return globalThis.touching(clear); }}"


@dataclass(frozen=True, slots=True)
class Collision:
    """Two marks that touch: what each is, and its text where it has one."""

    layout: str
    first: str
    second: str


def random_drills(chance: random.Random, count: int) -> Iterator[tuple[Request, Score]]:
    """So many drills of every pattern that can be played, with their requests."""
    made = 0
    while made < count:
        request = Request(
            pattern=chance.choice(PATTERNS[:1] * 3 + tuple(p for p in PATTERNS if p != "pairs")),
            interval=chance.choice(list(INTERVALS)),
            key=str(chance.choice(ALL_KEYS)),
            instrument=chance.choice(list(INSTRUMENTS)),
            octaves=chance.choice((1, 1, 2, 3)),
            direction=chance.choice(DIRECTIONS),
            strings=chance.choice((None, None, (4, 3), (3, 2), (2, 1))),
            manner=chance.choice(list(MANNERS)),
            minor=chance.choice(MINOR_FORMS),
            finger=chance.choice((1, 2, 3)),
            playings=chance.choice((1, 1, 3)),
            hold_s=chance.choice((None, None, 4.0)),
            rhythm=chance.choice(list(RHYTHMS)),
            slur=chance.choice(SLURS),
            first_bow=chance.choice(FIRST_BOWS),
            stroke=chance.choice(list(STROKES)),
            fingers_down=chance.random() < 0.3,
        )
        try:
            score = generate(request)
        except Infeasible:
            continue
        made += 1
        yield request, score


def collisions(page, score: Score, layouts: Iterable[str] = LAYOUTS) -> list[Collision]:
    """What touches in a score, by layout; ``page`` is a browser's, and is written over."""
    found = []
    for layout in layouts:
        for svg in engrave(score, layout=layout):
            page.set_content(f"<!doctype html><body style='margin:0'>{svg}</body>")
            pairs = page.evaluate(ASKED, CLEAR)
            found += [Collision(layout, first, second) for first, second in pairs]
    return found

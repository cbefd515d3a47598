"""Whether words over the staff, on a page as the engraver drew it, run into other text.

The engraver puts a short word into a gap under fingers that it does not see as in the way, unless
the word is wide enough to reach what follows: about one drill in 300 had a word on a finger. Boxes
are estimated from the letters, since nothing here knows the reader's font, and are a little large.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

_SVG = "{http://www.w3.org/2000/svg}"
_SIZE = re.compile(r"(\d+(?:\.\d+)?)px")
# Of the size of the letters: how wide one is on the average, how high they stand over their line,
# how far they hang under it.
_WIDTH, _HEIGHT, _DEPTH = 0.5, 0.72, 0.06


@dataclass(frozen=True, slots=True)
class _Box:
    """A text's ink in the page's units, y downwards."""

    left: float
    right: float
    top: float
    bottom: float

    def meets(self, other: "_Box") -> bool:
        beside = self.right <= other.left or other.right <= self.left
        apart = self.bottom <= other.top or other.bottom <= self.top
        return not beside and not apart


def has_overlaps(svg: str) -> bool:
    """Whether words of a page lie on one another, on fingers, letters of strings or positions."""
    root = ElementTree.fromstring(svg)
    words, others = list(_boxes(root, "tempo")), [*_boxes(root, "fing"), *_boxes(root, "dir")]
    return any(one.meets(other) for one in words for other in others) or any(
        one.meets(other) for one, other in combinations(words, 2)
    )


def _boxes(root: Element, kind: str) -> Iterator[_Box]:
    for group in root.iter(f"{_SVG}g"):
        if kind in group.get("class", "").split():
            for text in group.iter(f"{_SVG}text"):
                yield _box(text)


def _box(text: Element) -> _Box:
    letters = "".join(text.itertext()).strip()
    sizes = [_SIZE.fullmatch(span.get("font-size", "")) for span in text.iter(f"{_SVG}tspan")]
    size = max((float(found[1]) for found in sizes if found), default=0.0)
    x, y, width = float(text.get("x", "0")), float(text.get("y", "0")), len(letters) * _WIDTH * size
    left = x - width / 2 if text.get("text-anchor") == "middle" else x
    return _Box(left, left + width, y - _HEIGHT * size, y + _DEPTH * size)

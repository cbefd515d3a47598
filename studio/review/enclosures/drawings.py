"""What a drawing on a still consists of, read from what a page sends, and as shapes to be shown.

Lengths are in widths of the picture, from its upper left corner, so that a circle stays one
whatever the picture's shape: x from 0 to 1, y from 0 to ``aspect`` (height over width). A stroke is
one of::

    {"kind": "line",   "points": [[x, y], …]}
    {"kind": "arrow",  "from": [x, y], "to": [x, y]}
    {"kind": "circle", "at": [x, y], "radius": r}
    {"kind": "label",  "at": [x, y], "text": "…"}

``studio/static/desk/strokes.js`` draws the same shapes while the teacher draws; a test compares.
"""

import json
import math
from dataclasses import dataclass

from studio.translating import gettext_lazy

MOST_CHARS = 60_000
MOST_STROKES = 60
MOST_POINTS = 400  # of one line
MOST_LETTERS = 60  # of one label
FARTHEST = 4.0  # widths: no picture is higher
UNITS = 1000  # of the shapes: one picture's width
HEAD = 0.045  # length of an arrow's head
HEAD_ANGLE = math.radians(28)
UNREADABLE = gettext_lazy("The drawing did not arrive whole, so it was not added. Draw it again.")


@dataclass(frozen=True, slots=True)
class Drawing:
    """Strokes on the clip's picture at ``frame_s``."""

    frame_s: float
    strokes: list[dict]


def read(text: str) -> Drawing | None:
    """What a page sent; ``None`` when nothing is drawn.

    Raises
    ------
    ValueError
        With a sentence, when it is no drawing or a larger one than a page makes.
    """
    if not text.strip():
        return None
    try:
        if len(text) > MOST_CHARS:
            raise ValueError(f"{len(text)} characters, at most {MOST_CHARS}")
        sent = json.loads(text)
        frame_s = _number(sent["frame_s"], most=24 * 3600)
        strokes = [_stroke(stroke) for stroke in _list(sent["strokes"], MOST_STROKES)]
        return Drawing(frame_s, strokes) if strokes else None
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise ValueError(UNREADABLE) from error


def shapes(strokes: list[dict]) -> list[dict]:
    """Each stroke as the ``d`` of a path, or as a text with its place, in thousandths."""
    return [_SHAPES[stroke["kind"]](stroke) for stroke in strokes]


def labels(strokes: list[dict]) -> list[str]:
    return [stroke["text"] for stroke in strokes if stroke["kind"] == "label"]


# -- reading ---------------------------------------------------------------------------------


def _stroke(sent: dict) -> dict:
    kind = sent["kind"]
    if kind == "line":
        points = [_point(point) for point in _list(sent["points"], MOST_POINTS)]
        return {"kind": kind, "points": points} if len(points) > 1 else _wrong("line", points)
    if kind == "arrow":
        return {"kind": kind, "from": _point(sent["from"]), "to": _point(sent["to"])}
    if kind == "circle":
        return {"kind": kind, "at": _point(sent["at"]), "radius": _number(sent["radius"])}
    if kind == "label":
        return {"kind": kind, "at": _point(sent["at"]), "text": _label(sent["text"])}
    return _wrong("kind", kind)


def _list(sent: object, most: int) -> list:
    if not isinstance(sent, list) or len(sent) > most:
        _wrong("list", sent)
    return sent


def _point(sent: object) -> list[float]:
    x, y = _list(sent, 2)
    return [_number(x), _number(y)]


def _number(sent: object, most: float = FARTHEST) -> float:
    if isinstance(sent, bool) or not isinstance(sent, int | float):
        _wrong("number", sent)
    if not 0 <= sent <= most:  # nor what is no number at all: NaN
        _wrong("number", sent)
    return round(float(sent), 4)


def _label(sent: object) -> str:
    text = " ".join(sent.split()) if isinstance(sent, str) else ""
    if not 0 < len(text) <= MOST_LETTERS or not text.isprintable():
        _wrong("label", sent)
    return text


def _wrong(what: str, sent: object):
    raise ValueError(f"no {what}: {str(sent)[:40]!r}")


# -- shapes ----------------------------------------------------------------------------------


def _line(stroke: dict) -> dict:
    return {"d": "M" + " L".join(_at(point) for point in stroke["points"])}


def _arrow(stroke: dict) -> dict:
    start, tip = stroke["from"], stroke["to"]
    back = math.atan2(start[1] - tip[1], start[0] - tip[0])
    left, right = (
        [tip[0] + HEAD * math.cos(back + turn), tip[1] + HEAD * math.sin(back + turn)]
        for turn in (-HEAD_ANGLE, HEAD_ANGLE)
    )
    return {"d": f"M{_at(start)} L{_at(tip)} M{_at(left)} L{_at(tip)} L{_at(right)}"}


def _circle(stroke: dict) -> dict:
    (x, y), r = stroke["at"], stroke["radius"]
    arc = f"a{_unit(r)} {_unit(r)} 0 1 0"
    return {"d": f"M{_at([x - r, y])} {arc} {2 * _unit(r)} 0 {arc} {-2 * _unit(r)} 0"}


def _text(stroke: dict) -> dict:
    x, y = stroke["at"]
    return {"text": stroke["text"], "x": _unit(x), "y": _unit(y)}


def _at(point: list[float]) -> str:
    return f"{_unit(point[0])} {_unit(point[1])}"


def _unit(length: float) -> int:
    return math.floor(length * UNITS + 0.5)


_SHAPES = {"line": _line, "arrow": _arrow, "circle": _circle, "label": _text}

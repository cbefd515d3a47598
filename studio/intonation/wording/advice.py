"""What to change: the note or the finger that moves, and which way, by the interval's class.

A note becomes lower towards the scroll and higher towards the bridge. Which note moves is decided
in :mod:`studio.intonation.judging.attribution`; here it is only said. Facts of the hand are common
practice, no source: a fifth is usually one finger across two strings, which can turn and cannot
move on one of them alone; a unison's two notes are one pitch, so neither is the lower; tenths are a
reach, which is not to be forced; an open string can be tuned and cannot be moved.
"""

from collections.abc import Mapping
from typing import Any

from studio.figures import about_mm, cents
from studio.theory import Interval

FINGERS = ("open string", "first finger", "second finger", "third finger", "fourth finger")
SMALL_MOVE_CENTS = 25.0  # chosen: below it the sentence says "a little"
ONE_FINGER = " If one finger lies across both strings, turn it instead."
TENTH = 10  # interval's number, by definition; from here on the hand is stretched


def advice(interval: Interval, params: Mapping[str, Any], player: str = "") -> str:
    """What to change; ``player`` is the player's name where somebody else reads it."""
    which = params.get("move", "either")
    if which == "neither":
        return "Both notes are open strings: tune them, then play this again."
    said = _of_either(interval, params) if which == "either" else _of_one(interval, params, player)
    is_stretched = interval.number >= TENTH and not params.get("open")
    if is_stretched and params["deviation_cents"] < 0:
        said += " Do not force the reach."
    return said


def way_of(which: str, params: Mapping[str, Any]) -> tuple[str, str]:
    """(higher or lower, towards the bridge or the scroll) for a note that has to move."""
    is_down = (params["deviation_cents"] > 0) == (which == "upper")
    return ("lower", "towards the scroll") if is_down else ("higher", "towards the bridge")


def pretty_letter(name: str) -> str:
    """A pitch class with the signs of print: ``B♭``."""
    return name.replace("b", "♭").replace("#", "♯")


def finger(move: Mapping[str, Any]) -> str:
    """``the first finger on the D string``; without a string, ``the first finger``."""
    where = f" on the {move['string']} string" if move.get("string") else ""
    return f"the {FINGERS[move['finger']]}{where}"


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


# -- where it is known which note moves ---------------------------------------------------------


def _of_one(interval: Interval, params: Mapping[str, Any], player: str) -> str:
    which, because = str(params["move"]), params.get("because")
    other = "lower" if which == "upper" else "upper"
    if because == "slipped":
        return _slipped(which, params, player)
    if params.get("open"):
        return _beside_open_string(interval, other, which, params)
    reasons = {
        "alone": f"The {other} note was true by itself and stayed, so ",
        "tuning": f"The {other} note agrees with the rest of the clip, so ",
    }
    maybe = [] if params.get("moves") else params.get("maybe_open") or []
    tail = f" If it is the open {pretty_letter(maybe[0])}, tune that string." if maybe else ""
    if _may_be_one_finger(interval, params):
        tail = ONE_FINGER
    return f"{capital(reasons.get(because or '', '') + _step(which, params))}.{tail}"


def _beside_open_string(
    interval: Interval, other: str, which: str, params: Mapping[str, Any]
) -> str:
    name, off = pretty_letter(str(params["open"])), params.get("open_off_cents")
    said = f"The {other} note is the open {name}"
    if interval.semitones == 0:
        said = f"One of the two notes is the open {name}"
    if off is not None:
        side = "sharp" if off > 0 else "flat"
        return f"{said}, which is itself {cents(off)} {side}: tune it first, then play this again."
    return f"{said}, so {_step(which, params)}."


def _slipped(which: str, params: Mapping[str, Any], player: str) -> str:
    """The two notes agreed when they were played separately; one of them then moved."""
    moved, move = params["slipped_cents"], _fingering(which, params)
    size = cents(moved, params.get("slipped_uncertainty_cents"))
    went = f"went {size} {'higher' if moved > 0 else 'lower'}"
    who = f"the {which} one" if move is None else finger(move)
    back = "" if move is None or move.get("move_mm") is None else f", {_far(which, move, params)}"
    return (
        f"Played separately the two notes agreed; together {who} {went}. "
        f"Leave it where it was when {player or 'you'} played it alone{back}."
    )


def _step(which: str, params: Mapping[str, Any]) -> str:
    """``bring the upper note a little lower, towards the scroll``, or the finger's own way."""
    move = _fingering(which, params)
    if move is None:
        noun = "one" if params.get("because") else "note"
        return f"bring the {which} {noun} {_pitch_way(which, params)}"
    if params.get("one_finger"):
        string = (
            f" on the {move['string']} string" if move.get("string") else f" on the {which} one"
        )
        return (
            f"turn the {FINGERS[move['finger']]}, which lies across both strings, "
            f"{_far(which, move, params)}{string}"
        )
    return f"{finger(move)} can move {_far(which, move, params)}"


def _far(which: str, move: Mapping[str, Any], params: Mapping[str, Any]) -> str:
    """``about 2 mm towards the scroll``; where no string is written, ``a little towards ...``."""
    towards = way_of(which, params)[1]
    if move.get("move_mm") is None:
        return f"{_a_little(params['deviation_cents'])}{towards}"
    return f"{about_mm(move['move_mm'])} {towards}"


def _pitch_way(which: str, params: Mapping[str, Any]) -> str:
    """``a little lower, towards the scroll``"""
    pitch, towards = way_of(which, params)
    return f"{_a_little(params['deviation_cents'])}{pitch}, {towards}"


def _a_little(deviation: float) -> str:
    return "a little " if abs(deviation) < SMALL_MOVE_CENTS else ""


def _fingering(which: str, params: Mapping[str, Any]) -> Mapping[str, Any] | None:
    return next((move for move in params.get("moves") or () if move["which"] == which), None)


# -- where either note may move -----------------------------------------------------------------


def _of_either(interval: Interval, params: Mapping[str, Any]) -> str:
    upper, lower = (_fingering(which, params) for which in ("upper", "lower"))
    if upper and lower and params.get("one_finger"):
        return _one_finger(upper, lower, params)
    if upper and lower:
        far = _far("lower", lower, params)
        return f"{capital(_step('upper', params))}, or {finger(lower)} {far}."
    ways = (
        f"the upper {{}} {_pitch_way('upper', params)}, "
        f"or the lower one {_pitch_way('lower', params)}."
    )
    if interval.semitones == 0:
        return f"Bring the two notes together: {ways.format('one')}{_maybe_open(interval, params)}"
    return f"Bring {ways.format('note')}{_maybe_open(interval, params)}"


def _maybe_open(interval: Interval, params: Mapping[str, Any]) -> str:
    """What else may be true of the hand, where no fingering is written."""
    maybe = [pretty_letter(name) for name in params.get("maybe_open") or []]
    if interval.semitones == 0 and maybe:
        return f" If one of them is the open {maybe[0]}, only the other can move."
    if len(maybe) == 1:
        return f" If the {maybe[0]} is the open string, only the other note can move."
    if len(maybe) == 2:
        return " An open string cannot move; if both are open, tune them."
    return ONE_FINGER if _may_be_one_finger(interval, params) else ""


def _may_be_one_finger(interval: Interval, params: Mapping[str, Any]) -> bool:
    """A stopped fifth without a written fingering."""
    known = params.get("moves") or params.get("maybe_open") or params.get("open")
    return interval.short == "P5" and not known


def _one_finger(
    upper: Mapping[str, Any], lower: Mapping[str, Any], params: Mapping[str, Any]
) -> str:
    """One finger lies on both strings: it cannot move on one alone, but it can turn."""
    head = f"The {FINGERS[upper['finger']]} lies across both strings: turn it "
    if not (upper.get("string") and lower.get("string")):
        ways = [way_of(which, params)[1] for which in ("upper", "lower")]
        return f"{head}a little, {ways[0]} on the upper string or {ways[1]} on the lower."
    first, second = (
        f"{_far(which, move, params)} on the {move['string']} string"
        for which, move in (("upper", upper), ("lower", lower))
    )
    return f"{head}{first}, or {second}."

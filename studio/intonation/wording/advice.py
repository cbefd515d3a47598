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
from studio.figures.translation import N_, _
from studio.theory import Interval

FINGERS = (
    N_("open string"),
    N_("first finger"),
    N_("second finger"),
    N_("third finger"),
    N_("fourth finger"),
)
SMALL_MOVE_CENTS = 25.0  # chosen: below it the sentence says "a little"
ONE_FINGER = N_(" If one finger lies across both strings, turn it instead.")
TENTH = 10  # interval's number, by definition; from here on the hand is stretched


def advice(interval: Interval, params: Mapping[str, Any], player: str = "") -> str:
    """What to change; ``player`` is the player's name where somebody else reads it."""
    which = params.get("move", "either")
    if which == "neither":
        return _("Both notes are open strings: tune them, then play this again.")
    said = _of_either(interval, params) if which == "either" else _of_one(interval, params, player)
    is_stretched = interval.number >= TENTH and not params.get("open")
    if is_stretched and params["deviation_cents"] < 0:
        said += _(" Do not force the reach.")
    return said


def way_of(which: str, params: Mapping[str, Any]) -> tuple[str, str]:
    """(higher or lower, towards the bridge or the scroll) for a note that has to move."""
    is_down = (params["deviation_cents"] > 0) == (which == "upper")
    return ("lower", _("towards the scroll")) if is_down else ("higher", _("towards the bridge"))


def pretty_letter(name: str) -> str:
    """A pitch class with the signs of print: ``B♭``."""
    return name.replace("b", "♭").replace("#", "♯")


def finger(move: Mapping[str, Any]) -> str:
    """``the first finger on the D string``; without a string, ``the first finger``."""
    where = _(" on the %(move)s string") % {"move": move["string"]} if move.get("string") else ""
    return f"the {_(FINGERS[move['finger']])}{where}"


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
        "alone": _("The %(other)s note was true by itself and stayed, so ") % {"other": other},
        "tuning": _("The %(other)s note agrees with the rest of the clip, so ") % {"other": other},
    }
    maybe = [] if params.get("moves") else params.get("maybe_open") or []
    tail = (
        _(" If it is the open %(maybe)s, tune that string.") % {"maybe": pretty_letter(maybe[0])}
        if maybe
        else ""
    )
    if _may_be_one_finger(interval, params):
        tail = _(ONE_FINGER)
    return f"{capital(reasons.get(because or '', '') + _step(which, params))}.{tail}"


def _beside_open_string(
    interval: Interval, other: str, which: str, params: Mapping[str, Any]
) -> str:
    name, off = pretty_letter(str(params["open"])), params.get("open_off_cents")
    said = _("The %(other)s note is the open %(name)s") % {"other": other, "name": name}
    if interval.semitones == 0:
        said = _("One of the two notes is the open %(name)s") % {"name": name}
    if off is not None:
        side = "sharp" if off > 0 else "flat"
        return _(
            "%(said)s, which is itself %(off)s %(side)s: tune it first, then play this again."
        ) % {"said": said, "off": cents(off), "side": side}
    return f"{said}, so {_step(which, params)}."


def _slipped(which: str, params: Mapping[str, Any], player: str) -> str:
    """The two notes agreed when they were played separately; one of them then moved."""
    moved, move = params["slipped_cents"], _fingering(which, params)
    size = cents(moved, params.get("slipped_uncertainty_cents"))
    went = f"went {size} {'higher' if moved > 0 else 'lower'}"
    who = f"the {which} one" if move is None else finger(move)
    back = "" if move is None or move.get("move_mm") is None else f", {_far(which, move, params)}"
    return _(
        "Played separately the two notes agreed; together %(who)s %(went)s. Leave "
        "it where it was when %(player)s played it alone%(back)s."
    ) % {"who": who, "went": went, "player": player or "you", "back": back}


def _step(which: str, params: Mapping[str, Any]) -> str:
    """``bring the upper note a little lower, towards the scroll``, or the finger's own way."""
    move = _fingering(which, params)
    if move is None:
        noun = "one" if params.get("because") else "note"
        return _("bring the %(which)s %(noun)s %(which_2)s") % {
            "which": which,
            "noun": noun,
            "which_2": _pitch_way(which, params),
        }
    if params.get("one_finger"):
        string = (
            _(" on the %(move)s string") % {"move": move["string"]}
            if move.get("string")
            else _(" on the %(which)s one") % {"which": which}
        )
        return _("turn the %(fingers)s, which lies across both strings, %(which)s%(string)s") % {
            "fingers": _(FINGERS[move["finger"]]),
            "which": _far(which, move, params),
            "string": string,
        }
    return _("%(move)s can move %(which)s") % {
        "move": finger(move),
        "which": _far(which, move, params),
    }


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
    ways = _("the upper {} %(pitch_way)s, or the lower one %(pitch_way_2)s.") % {
        "pitch_way": _pitch_way("upper", params),
        "pitch_way_2": _pitch_way("lower", params),
    }
    if interval.semitones == 0:
        return _("Bring the two notes together: %(format)s%(interval)s") % {
            "format": ways.format("one"),
            "interval": _maybe_open(interval, params),
        }
    return f"Bring {ways.format('note')}{_maybe_open(interval, params)}"


def _maybe_open(interval: Interval, params: Mapping[str, Any]) -> str:
    """What else may be true of the hand, where no fingering is written."""
    maybe = [pretty_letter(name) for name in params.get("maybe_open") or []]
    if interval.semitones == 0 and maybe:
        return _(" If one of them is the open %(maybe)s, only the other can move.") % {
            "maybe": maybe[0]
        }
    if len(maybe) == 1:
        return _(" If the %(maybe)s is the open string, only the other note can move.") % {
            "maybe": maybe[0]
        }
    if len(maybe) == 2:
        return _(" An open string cannot move; if both are open, tune them.")
    return _(ONE_FINGER) if _may_be_one_finger(interval, params) else ""


def _may_be_one_finger(interval: Interval, params: Mapping[str, Any]) -> bool:
    """A stopped fifth without a written fingering."""
    known = params.get("moves") or params.get("maybe_open") or params.get("open")
    return interval.short == "P5" and not known


def _one_finger(
    upper: Mapping[str, Any], lower: Mapping[str, Any], params: Mapping[str, Any]
) -> str:
    """One finger lies on both strings: it cannot move on one alone, but it can turn."""
    head = _("The %(fingers)s lies across both strings: turn it ") % {
        "fingers": _(FINGERS[upper["finger"]])
    }
    if not (upper.get("string") and lower.get("string")):
        ways = [way_of(which, params)[1] for which in ("upper", "lower")]
        return _("%(head)sa little, %(ways)s on the upper string or %(ways_2)s on the lower.") % {
            "head": head,
            "ways": ways[0],
            "ways_2": ways[1],
        }
    first, second = (
        _("%(which)s on the %(move)s string")
        % {"which": _far(which, move, params), "move": move["string"]}
        for which, move in (("upper", upper), ("lower", lower))
    )
    return f"{head}{first}, or {second}."

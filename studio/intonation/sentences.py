"""The sentences people read, rendered from a code and its parameters.

Nothing else in the package holds words for people, so that a translation replaces one module.
Numbers are whole cents; the uncertainty is said where it reaches a whole cent.
"""

import math
from collections.abc import Mapping
from typing import Any

from studio.theory import Interval, Pitch

_ORDINALS = (
    *("first", "second", "third", "fourth", "fifth"),
    *("sixth", "seventh", "eighth", "ninth", "tenth"),
)
SMALL_MOVE_CENTS = 25.0  # below it the sentence says "a little"
SAME_CENTS = 3.0  # a change smaller than this is no change

# Why something was not judged, by code.
UNSURE_REASONS = {
    "no_agreed_target": "This size has no agreed target, so it is shown and not judged.",
    "octave_or_single": "This may be an octave or one note alone; the sound does not tell.",
    "close_to_limit": "This is so close to the tolerance that either may be true.",
    "not_measured": "The two notes could not be measured well enough here.",
    "too_uncertain": "The measurement is less certain than the tolerance is wide.",
    "doubtful_notes": "It is not certain which notes sounded here.",
    "too_short": "This is too short to measure well.",
    "not_separable": "The two notes could not be told apart well enough here.",
}


def unsure_sentence(code: str) -> str:
    """Why something is reported and not judged; a general sentence for an unknown code."""
    return UNSURE_REASONS.get(code, UNSURE_REASONS["not_measured"])


def clock(seconds: float) -> str:
    """A moment as minutes and seconds, rounded: 0:12, 1:05, 62:00; 119.7 s is 2:00."""
    whole = math.floor(max(seconds, 0.0) + 0.5)
    return f"{whole // 60}:{whole % 60:02d}"


def ordinal(number: int) -> str:
    """first to tenth, then 11th and so on."""
    if 1 <= number <= len(_ORDINALS):
        return _ORDINALS[number - 1]
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10)
    return f"{number}{ending or 'th'}"


def render(code: str, params: Mapping[str, Any]) -> str:
    """The sentence for a mark.

    Parameters
    ----------
    code : one of the mark codes
    params : what the mark carries; whatever is missing is simply not said

    Raises
    ------
    ValueError
        For a code that has no sentence.
    """
    renderers = {
        "interval_wide": _interval,
        "interval_narrow": _interval,
        "open_string_off": _open_string,
        "single_sharp": _single,
        "single_flat": _single,
    }
    if code not in renderers:
        raise ValueError(f"no sentence for code {code!r}; known: {', '.join(renderers)}")
    return renderers[code](params)


def _pretty(name: str) -> str:
    return Pitch.parse(name).pretty


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _cents(value: float) -> str:
    whole = round(abs(value))
    return f"{whole} cent" if whole == 1 else f"{whole} cents"


def _give_or_take(params: Mapping[str, Any]) -> str:
    uncertainty = params.get("uncertainty_cents")
    doubled = round(2.0 * uncertainty) if uncertainty is not None else 0
    return f", give or take {doubled}" if doubled >= 2 else ""


def _a_little(cents: float) -> str:
    return " a little" if abs(cents) < SMALL_MOVE_CENTS else ""


def _interval(params: Mapping[str, Any]) -> str:
    interval = Interval.parse(params["interval"])
    head = _capital(interval.everyday)
    if params.get("low") and params.get("high"):
        head += f" {_pretty(params['low'])}–{_pretty(params['high'])}"
    if params.get("at_s") is not None:
        head += f" at {clock(params['at_s'])}"
    if (params.get("playings") or 1) > 1:
        head += f", {ordinal(params['playing'])} playing"
    side = _side(interval, params["deviation_cents"])
    size = f"{_cents(params['deviation_cents'])} {side}{_give_or_take(params)}"
    return f"{head}: {size}{_from_first(interval, params)}. {_advice(interval, params)}"


def _side(interval: Interval, deviation: float) -> str:
    if interval.semitones == 0:
        return "apart"
    return "wide" if deviation > 0 else "narrow"


def _from_first(interval: Interval, params: Mapping[str, Any]) -> str:
    """How it moved from the first playing, or from where the fingers landed."""
    first, last = params.get("first_cents"), params["deviation_cents"]
    if first is None:
        return ""
    repeated = (params.get("playings") or 1) > 1
    if repeated and params.get("first") == "playing" and params.get("playing") == 1:
        return ""  # the later playings could not be measured: this one is the first
    if abs(first - last) < SAME_CENTS:
        return "; much as it was at first" if repeated else ""
    other_side = f" {_side(interval, first)}" if first * last < 0 else ""
    if repeated:
        return f"; it was {round(abs(first))}{other_side} at first"
    return f"; it landed {round(abs(first))}{other_side or ' ' + _side(interval, first)}"


def _advice(interval: Interval, params: Mapping[str, Any]) -> str:
    deviation = params["deviation_cents"]
    little = _a_little(deviation)
    if interval.semitones == 0 and params.get("move", "either") == "either":
        return "Bring the two notes together."
    upper, lower = ("down", "up") if deviation > 0 else ("up", "down")
    opened = params.get("open")
    if params.get("move") == "upper":
        if opened:
            return f"The lower note is the open {opened}, so bring the upper one {upper}{little}."
        return f"Bring the upper note {upper}{little}."
    if params.get("move") == "lower":
        if opened:
            return f"The upper note is the open {opened}, so bring the lower one {lower}{little}."
        return f"Bring the lower note {lower}{little}."
    advice = f"Bring the upper note {upper} or the lower one {lower}{little}."
    maybe = params.get("maybe_open") or []
    if len(maybe) == 1:
        advice += f" If the {maybe[0]} is the open string, only the other note can move."
    return advice


def _open_string(params: Mapping[str, Any]) -> str:
    side = "sharp" if params["deviation_cents"] > 0 else "flat"
    name = Pitch.parse(params["pitch"]).pretty[:-1]
    size = f"{_cents(params['deviation_cents'])} {side}{_give_or_take(params)}"
    return f"The open {name} string is {size}. Tune it first: every note beside it follows it."


def _single(params: Mapping[str, Any]) -> str:
    deviation = params["deviation_cents"]
    side, way = ("sharp", "down") if deviation > 0 else ("flat", "up")
    at = f" at {clock(params['at_s'])}" if params.get("at_s") is not None else ""
    size = f"{_cents(deviation)} {side}{_give_or_take(params)}"
    return f"{_pretty(params['pitch'])}{at}: {size}. Bring it {way}{_a_little(deviation)}."

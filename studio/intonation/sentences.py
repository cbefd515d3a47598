"""The sentences people read, rendered from a code and its parameters.

Nothing else in the package holds words for people, so that a translation replaces one module.
Cents are whole numbers, millimetres and seconds have one decimal. ``±`` is one standard deviation,
rounded up, so that nothing looks surer than it is. A finger, a string and millimetres are named
only where the parameters carry them, which is where a drill's fingering says them.
"""

import math
from collections.abc import Mapping
from typing import Any

from studio.theory import Interval, Pitch

_ORDINALS = (
    *("first", "second", "third", "fourth", "fifth"),
    *("sixth", "seventh", "eighth", "ninth", "tenth"),
)
_FINGERS = ("open string", "first finger", "second finger", "third finger", "fourth finger")
SMALL_MOVE_CENTS = 25.0  # below it the sentence says "a little"
SAME_CENTS = 3.0  # a change smaller than this is no change

# Why something was not judged, by code.
UNSURE_REASONS = {
    "no_agreed_target": "This size has no agreed target, so it is shown and not judged.",
    "octave_or_single": "This may be an octave or one note alone; the sound does not tell.",
    "close_to_limit": "This is so close to the tolerance that either may be true.",
    "not_measured": "The two notes could not be measured well enough here.",
    "too_uncertain": "The measurement is less certain than the tolerance is wide.",
    "between_sizes": "This lies between two sizes, so it is not certain which one was meant.",
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
    """The sentence for a mark or a remark.

    Parameters
    ----------
    code : one of the mark or remark codes
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
        "voice_dropout": _dropout,
        "balance": _balance,
        "run_changed": _run_changed,
        "note_moved": _note_moved,
        "hold_short": _hold_short,
    }
    if code not in renderers:
        raise ValueError(f"no sentence for code {code!r}; known: {', '.join(renderers)}")
    return renderers[code](params)


def words_of(params: Mapping[str, Any]) -> dict[str, str]:
    """What a mark's parameters say, each in a few words, for sentences that people write.

    Of ``interval``, ``notes``, ``cents``, ``side``, ``bar``, ``finger``, ``string`` and ``mm``
    those that are known: a finger only where the drill's fingering tells the one that moves.
    """
    found = {}
    if params.get("interval"):
        interval = Interval.parse(params["interval"])
        found["interval"] = interval.everyday
        if params.get("deviation_cents") is not None:
            found["side"] = _side(interval, params["deviation_cents"])
    if params.get("low") and params.get("high"):
        found["notes"] = f"{_pretty(params['low'])}–{_pretty(params['high'])}"
    elif params.get("pitch"):
        found["notes"] = _pretty(params["pitch"])
    if params.get("deviation_cents") is not None:
        found["cents"] = in_cents(params["deviation_cents"], params.get("uncertainty_cents"))
    if params.get("bar") is not None:
        found["bar"] = f"bar {params['bar']}"
    if params.get("finger") is not None:
        found["finger"] = _FINGERS[params["finger"]]
    if params.get("string"):
        found["string"] = f"{params['string']} string"
    if params.get("move_mm") is not None:
        found["mm"] = _millimetres(params["move_mm"], params["uncertainty_mm"])
    return found


# Figures and names


def _pretty(name: str) -> str:
    return Pitch.parse(name).pretty


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def in_cents(value: float, uncertainty: float | None = None) -> str:
    """A size in whole cents: ``1 cent``, ``18 cents``, ``18 ± 1 cents``."""
    whole = round(abs(value))
    if uncertainty is not None:
        return f"{whole} ± {max(1, math.ceil(uncertainty))} cents"
    return f"{whole} cent" if whole == 1 else f"{whole} cents"


def _millimetres(value: float, uncertainty: float) -> str:
    """``2.3 ± 0.2 mm``."""
    return f"{value:.1f} ± {max(0.1, math.ceil(10.0 * uncertainty - 1e-9) / 10.0):.1f} mm"


def _seconds(value: float) -> str:
    """``0.6 s``, ``2 s``."""
    return f"{value:.1f}".removesuffix(".0") + " s"


def _a_little(cents: float) -> str:
    return " a little" if abs(cents) < SMALL_MOVE_CENTS else ""


def _finger(params: Mapping[str, Any]) -> str:
    """``the first finger on the D string``; without a string, ``the first finger``."""
    where = f" on the {params['string']} string" if params.get("string") else ""
    return f"the {_FINGERS[params['finger']]}{where}"


def _place(params: Mapping[str, Any]) -> str:
    """Bar and moment, as far as they are known."""
    bar = f" in bar {params['bar']}" if params.get("bar") is not None else ""
    return bar + (f" at {clock(params['at_s'])}" if params.get("at_s") is not None else "")


def _double_stop(params: Mapping[str, Any]) -> str:
    head = _capital(Interval.parse(params["interval"]).everyday)
    if params.get("low") and params.get("high"):
        head += f" {_pretty(params['low'])}–{_pretty(params['high'])}"
    return head + _place(params)


# Intervals


def _interval(params: Mapping[str, Any]) -> str:
    interval = Interval.parse(params["interval"])
    head = _double_stop(params)
    if (params.get("playings") or 1) > 1:
        head += f", {ordinal(params['playing'])} playing"
    side = _side(interval, params["deviation_cents"])
    size = f"{in_cents(params['deviation_cents'], params.get('uncertainty_cents'))} {side}"
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
    if not round(abs(first)):
        return "; it was true at first" if repeated else "; it landed true"
    other_side = f" {_side(interval, first)}" if first * last < 0 else ""
    if repeated:
        return f"; it was {round(abs(first))}{other_side} at first"
    return f"; it landed {round(abs(first))}{other_side or ' ' + _side(interval, first)}"


def _advice(interval: Interval, params: Mapping[str, Any]) -> str:
    """What to change: one note where it is known which, else either."""
    which = params.get("move", "either")
    if which == "either":
        return _either(interval, params)
    other = "lower" if which == "upper" else "upper"
    step = _step(which, params)
    if params.get("because") == "slipped":
        return _slipped(which, params)
    if params.get("open"):
        return _beside_open_string(other, which, params)
    if params.get("because") == "alone":
        return f"The {other} note was true by itself and stayed, so {step}."
    if params.get("because") == "tuning":
        return f"The {other} note agrees with the rest of the clip, so {step}."
    return f"{_capital(step)}."


def _beside_open_string(other: str, which: str, params: Mapping[str, Any]) -> str:
    name = str(params["open"]).replace("b", "♭").replace("#", "♯")
    off = params.get("open_off_cents")
    if off is not None:
        side = "sharp" if off > 0 else "flat"
        return (
            f"The {other} note is the open {name}, which is itself {in_cents(off)} {side}: "
            "tune it first, then play this again."
        )
    return f"The {other} note is the open {name}, so {_step(which, params)}."


def _way(which: str, params: Mapping[str, Any]) -> tuple[str, str]:
    """(down or up; back or forward) for a note that has to move."""
    is_down = (params["deviation_cents"] > 0) == (which == "upper")
    return ("down", "back") if is_down else ("up", "forward")


def _fingering(which: str, params: Mapping[str, Any]) -> Mapping[str, Any] | None:
    return next((move for move in params.get("moves") or () if move["which"] == which), None)


def _step(which: str, params: Mapping[str, Any]) -> str:
    """``bring the upper one down a little``, or the finger's own way, as a clause."""
    move = _fingering(which, params)
    if move is None:
        noun = "one" if params.get("because") else "note"
        little = _a_little(params["deviation_cents"])
        return f"bring the {which} {noun} {_way(which, params)[0]}{little}"
    return f"{_finger(move)} can {_go(which, move, params)}"


def _go(which: str, move: Mapping[str, Any], params: Mapping[str, Any]) -> str:
    """``come back by about 2.3 ± 0.2 mm`` or, without a string, ``come back a little``."""
    back = _way(which, params)[1] == "back"
    verb = "come back" if back else "go forward"
    if move.get("move_mm") is None:
        return f"{verb}{_a_little(params['deviation_cents'])}"
    return f"{verb} by about {_millimetres(move['move_mm'], move['uncertainty_mm'])}"


def _either(interval: Interval, params: Mapping[str, Any]) -> str:
    moves = {which: _fingering(which, params) for which in ("upper", "lower")}
    if params.get("one_finger") and moves["upper"] and moves["lower"]:
        return _one_finger(moves["upper"], moves["lower"], params)
    if moves["upper"] and moves["lower"]:
        lower = _go("lower", moves["lower"], params)
        return f"{_capital(_step('upper', params))}, or {_finger(moves['lower'])} can {lower}."
    if interval.semitones == 0:
        return "Bring the two notes together."
    little = _a_little(params["deviation_cents"])
    upper, lower = _way("upper", params)[0], _way("lower", params)[0]
    advice = f"Bring the upper note {upper} or the lower one {lower}{little}."
    maybe = params.get("maybe_open") or []
    if len(maybe) == 1:
        advice += f" If the {maybe[0]} is the open string, only the other note can move."
    return advice


def _one_finger(
    upper: Mapping[str, Any], lower: Mapping[str, Any], params: Mapping[str, Any]
) -> str:
    """One finger lies on both strings: it cannot move on one alone, but it can turn."""
    where = [
        f" on the {move['string']} string" if move.get("string") else "" for move in (upper, lower)
    ]
    ways = [_way(which, params)[1] for which in ("upper", "lower")]
    head = f"The {_FINGERS[upper['finger']]} lies across both strings: "
    if not all(where):
        return f"{head}turn it a little, {ways[0]} on the upper string or {ways[1]} on the lower."
    sizes = [
        f" by about {_millimetres(move['move_mm'], move['uncertainty_mm'])}"
        if move.get("move_mm") is not None
        else ""
        for move in (upper, lower)
    ]
    return f"{head}turn it {ways[0]}{where[0]}{sizes[0]}, or {ways[1]}{where[1]}{sizes[1]}."


def _slipped(which: str, params: Mapping[str, Any]) -> str:
    """The two notes agreed when they were played separately; one of them then moved."""
    moved = params["slipped_cents"]
    size = in_cents(moved, params.get("slipped_uncertainty_cents"))
    way = "higher" if moved > 0 else "lower"
    move = _fingering(which, params)
    agreed = "Played separately the two notes agreed; together"
    if move is None:
        return f"{agreed} the {which} one went {size} {way}. Keep it where it was alone."
    step = _go(which, move, params)
    return f"{agreed} {_finger(move)} went {size} {way}. It can {step}."


# Open strings and single notes


def _open_string(params: Mapping[str, Any]) -> str:
    side = "sharp" if params["deviation_cents"] > 0 else "flat"
    name = Pitch.parse(params["pitch"]).pretty[:-1]
    size = f"{in_cents(params['deviation_cents'], params.get('uncertainty_cents'))} {side}"
    return f"The open {name} string is {size}. Tune it first: every note beside it follows it."


def _single(params: Mapping[str, Any]) -> str:
    deviation = params["deviation_cents"]
    side, way = ("sharp", "down") if deviation > 0 else ("flat", "up")
    size = f"{in_cents(deviation, params.get('uncertainty_cents'))} {side}"
    head = f"{_pretty(params['pitch'])}{_place(params)}"
    return f"{head}: {size}. Bring it {way}{_a_little(deviation)}."


# The bow


def _dropout(params: Mapping[str, Any]) -> str:
    times, silent = params.get("times") or 1, params.get("silent_s")
    how = f", {times} times" if times > 1 else ""
    if silent is not None:
        how = f" for {_seconds(silent)}" if times == 1 else f"{how}, for {_seconds(silent)} in all"
    said = f"{_one_of(params)} fell silent{_place(params)}{how}."
    return f"{said} Keep the bow on both strings." if params.get("held") else said


def _one_of(params: Mapping[str, Any]) -> str:
    """``The upper note of the sixth B♭3–G4``, as far as it is known."""
    which = params.get("which")
    who = f"The {which} note" if which else "One of the two notes"
    if not (params.get("interval") and params.get("low") and params.get("high")):
        return who
    pair = f"{_pretty(params['low'])}–{_pretty(params['high'])}"
    return f"{who} of the {Interval.parse(params['interval']).everyday} {pair}"


def _balance(params: Mapping[str, Any]) -> str:
    softer, size = params.get("which"), params.get("balance_db")
    other = {"upper": "the lower one", "lower": "the upper one"}.get(softer or "", "the other")
    about = ""
    if size is not None:
        doubt = math.ceil(params.get("uncertainty_db") or 1.0)
        about = f" by about {round(size)} ± {doubt} dB"
    said = f"{_one_of(params)}{_place(params)} was softer than {other}{about}."
    if not params.get("held"):
        return said
    string = f" towards the {params['string']} string" if params.get("string") else " towards it"
    return f"{said} Both are to be held: lean the bow more{string}."


# What is said of a run


def _run_changed(params: Mapping[str, Any]) -> str:
    interval = Interval.parse(params["interval"])
    first, last = params["first_cents"], params["deviation_cents"]
    over = f"Over {params['playings']} playings"
    now = standing(interval, last, params.get("uncertainty_cents"))
    if params["trend"] == "same":
        return f"{over} it stayed much the same: {now} at the end."
    way = "came closer" if params["trend"] == "better" else "went further off"
    size = in_cents(params["change_cents"], params.get("change_uncertainty_cents"))
    return f"{over} it {way} by {size}: {standing(interval, first)} at first, {now} at the end."


def standing(interval: Interval, cents: float, uncertainty: float | None = None) -> str:
    """``18 ± 1 cents wide``; without a side where it rounds to nothing."""
    side = f" {_side(interval, cents)}" if round(abs(cents)) else " off"
    return f"{in_cents(cents, uncertainty)}{side}"


def _note_moved(params: Mapping[str, Any]) -> str:
    way = "higher" if params["moved_cents"] > 0 else "lower"
    size = in_cents(params["moved_cents"], params.get("uncertainty_cents"))
    finger, other = params.get("finger"), params.get("other_finger")
    who = _capital(_finger(params)) if finger is not None else f"The {params['which']} note"
    if not params.get("first"):
        return f"{who} was {size} {way} together than alone."
    when = "when the other note came to it"
    if finger is not None and other is not None and other != finger:
        when = (
            f"when the {_FINGERS[other]} came down" if other else "when the open string joined it"
        )
    return f"{who} went {size} {way} {when}."


def _hold_short(params: Mapping[str, Any]) -> str:
    least = _seconds(params["least_hold_s"])
    asked = f"The drill asks for {least}" if params.get("asked") else f"With {least} or more"
    end = "." if params.get("asked") else " there is time to hear it settle."
    return f"The last playing was held for {_seconds(params['held_s'])}. {asked}{end}"

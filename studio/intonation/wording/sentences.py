"""The sentences people read, rendered from a code and its parameters.

Nothing else in the package holds words for people but :mod:`studio.intonation.wording.advice`, so
that a translation replaces two modules; figures are said by :mod:`studio.figures`. A finger, a
string and millimetres are named only where the parameters carry them, which is where a drill's
fingering says them. What the teacher keeps is read by the player, so the player is "you"; for
somebody else, such as a guardian, the same sentence is rendered with the player's name.
"""

from collections.abc import Mapping
from typing import Any

from studio import figures
from studio.figures.translation import N_, _
from studio.intonation.wording.advice import (
    FINGERS,
    SMALL_MOVE_CENTS,
    advice,
    capital,
    finger,
    way_of,
)
from studio.theory import Interval, Pitch

SAME_CENTS = 3.0  # chosen: a change smaller than this is no change

# Why something was not judged, by code.
UNSURE_REASONS = {
    "no_agreed_target": N_("This size has no agreed target, so it is shown and not judged."),
    "octave_or_single": N_("This may be an octave or one note alone; the sound does not tell."),
    "close_to_limit": N_("This is so close to the tolerance that either may be true."),
    "not_measured": N_("The two notes could not be measured well enough here."),
    "too_uncertain": N_("The measurement is less certain than the tolerance is wide."),
    "between_sizes": N_("This lies between two sizes, so it is not certain which one was meant."),
    "doubtful_notes": N_("It is not certain which notes sounded here."),
    "too_short": N_("This is too short to measure well."),
    "not_separable": N_("The two notes could not be told apart well enough here."),
}


def unsure_sentence(code: str) -> str:
    """Why something is reported and not judged; a general sentence for an unknown code."""
    return _(UNSURE_REASONS.get(code, UNSURE_REASONS["not_measured"]))


def render(code: str, params: Mapping[str, Any], player: str = "") -> str:
    """The sentence for a mark or a remark.

    Parameters
    ----------
    code : one of the mark or remark codes
    params : what the mark carries; whatever is missing is simply not said
    player : the player's name where somebody else reads it; empty where the player does

    Raises
    ------
    ValueError
        For a code that has no sentence.
    """
    if code in ("interval_wide", "interval_narrow"):
        return _interval(params, player)
    renderers = {
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
        raise ValueError(
            f"no sentence for code {code!r}; known: interval_wide, interval_narrow, "
            + ", ".join(renderers)
        )
    return renderers[code](params)


def words_of(params: Mapping[str, Any]) -> dict[str, str]:
    """What a mark's parameters say, each in a few words, for sentences that people write.

    Of ``interval``, ``notes``, ``cents``, ``side``, ``way``, ``towards``, ``bar``, ``finger``,
    ``string`` and ``mm`` those that are known: a way only where it is known which note moves, a
    finger only where the drill's fingering tells it.
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
        found["cents"] = _cents(params)
    if params.get("bar") is not None:
        found["bar"] = f"bar {params['bar']}"
    if params.get("finger") is not None:
        found["finger"] = _(FINGERS[params["finger"]])
    if params.get("string"):
        found["string"] = f"{params['string']} string"
    if params.get("move_mm") is not None:
        found["mm"] = figures.about_mm(params["move_mm"])
    which = _moving(params)
    if which:
        found["way"], found["towards"] = way_of(which, params)
    return found


# Figures and names


def _cents(params: Mapping[str, Any]) -> str:
    """How far off, with its uncertainty where that is known."""
    return figures.cents(params["deviation_cents"], params.get("uncertainty_cents"))


def _moving(params: Mapping[str, Any]) -> str:
    """The note that has to move, ``upper`` or ``lower``, where that is known; a lone note is."""
    if params.get("deviation_cents") is None or not (params.get("interval") or params.get("pitch")):
        return ""
    which = params.get("move", "either") if params.get("interval") else "upper"
    return str(which) if which in ("upper", "lower") else ""


def _pretty(name: str) -> str:
    return Pitch.parse(name).pretty


def _place(params: Mapping[str, Any]) -> str:
    """Bar and moment, as far as they are known."""
    bar = (
        _(" in bar %(params)s") % {"params": params["bar"]} if params.get("bar") is not None else ""
    )
    return bar + (f" at {figures.place(params['at_s'])}" if params.get("at_s") is not None else "")


def _double_stop(params: Mapping[str, Any]) -> str:
    head = capital(Interval.parse(params["interval"]).everyday)
    if params.get("low") and params.get("high"):
        head += f" {_pretty(params['low'])}–{_pretty(params['high'])}"
    return head + _place(params)


# Intervals


def _interval(params: Mapping[str, Any], player: str) -> str:
    interval = Interval.parse(params["interval"])
    head = _double_stop(params)
    if (params.get("playings") or 1) > 1:
        head += f", {figures.ordinal(params['playing'])} playing"
    side = _side(interval, params["deviation_cents"])
    said = f"{head}: {_cents(params)} {side}{_from_first(interval, params)}."
    return f"{said} {advice(interval, params, player)}"


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
        return _("; much as it was at first") if repeated else ""
    if figures.rounds_to_nothing(first):
        return _("; it was true at first") if repeated else _("; it landed true")
    other_side = f" {_side(interval, first)}" if first * last < 0 else ""
    if repeated:
        return _("; it was %(first)s%(other_side)s at first") % {
            "first": figures.number(abs(first), 0),
            "other_side": other_side,
        }
    return _("; it landed %(first)s%(other_side)s") % {
        "first": figures.number(abs(first), 0),
        "other_side": other_side or " " + _side(interval, first),
    }


# Open strings and single notes


def _open_string(params: Mapping[str, Any]) -> str:
    side = "sharp" if params["deviation_cents"] > 0 else "flat"
    name = Pitch.parse(params["pitch"]).pretty[:-1]
    said = _("The open %(name)s string is %(params)s %(side)s.") % {
        "name": name,
        "params": _cents(params),
        "side": side,
    }
    return _("%(said)s Tune it first: every note beside it follows it.") % {"said": said}


def _single(params: Mapping[str, Any]) -> str:
    deviation = params["deviation_cents"]
    side, way = ("sharp", "lower") if deviation > 0 else ("flat", "higher")
    little = "a little " if abs(deviation) < SMALL_MOVE_CENTS else ""
    head = f"{_pretty(params['pitch'])}{_place(params)}"
    return _("%(head)s: %(params)s %(side)s. Bring it %(little)s%(way)s.") % {
        "head": head,
        "params": _cents(params),
        "side": side,
        "little": little,
        "way": way,
    }


# The bow


def _dropout(params: Mapping[str, Any]) -> str:
    times, silent = params.get("times") or 1, params.get("silent_s")
    how = f", {times} times" if times > 1 else ""
    if silent is not None:
        how = (
            f" for {figures.seconds(silent)}"
            if times == 1
            else _("%(how)s, for %(silent)s in all")
            % {"how": how, "silent": figures.seconds(silent)}
        )
    said = _("%(params)s fell silent%(params_2)s%(how)s.") % {
        "params": _one_of(params),
        "params_2": _place(params),
        "how": how,
    }
    return (
        _("%(said)s Keep the bow on both strings.") % {"said": said} if params.get("held") else said
    )


def _one_of(params: Mapping[str, Any]) -> str:
    """``The upper note of the sixth B♭3–G4``, as far as it is known."""
    which = params.get("which")
    who = f"The {which} note" if which else _("One of the two notes")
    if not (params.get("interval") and params.get("low") and params.get("high")):
        return who
    pair = f"{_pretty(params['low'])}–{_pretty(params['high'])}"
    return _("%(who)s of the %(everyday)s %(pair)s") % {
        "who": who,
        "everyday": Interval.parse(params["interval"]).everyday,
        "pair": pair,
    }


def _balance(params: Mapping[str, Any]) -> str:
    """Without decibels: what is said at all is beyond any doubt much softer."""
    softer = params.get("which")
    other = {"upper": _("the lower one"), "lower": _("the upper one")}.get(
        softer or "", _("the other")
    )
    said = _("%(params)s%(params_2)s was much softer than %(other)s.") % {
        "params": _one_of(params),
        "params_2": _place(params),
        "other": other,
    }
    if not params.get("held"):
        return said
    string = (
        _(" towards the %(params)s string") % {"params": params["string"]}
        if params.get("string")
        else _(" towards it")
    )
    return _("%(said)s Both are to be held: lean the bow more%(string)s.") % {
        "said": said,
        "string": string,
    }


# What is said of a run


def _run_changed(params: Mapping[str, Any]) -> str:
    interval = Interval.parse(params["interval"])
    first, last = params["first_cents"], params["deviation_cents"]
    over = f"Over {params['playings']} playings"
    now = standing(interval, last, params.get("uncertainty_cents"))
    if params["trend"] == "same":
        return _("%(over)s it stayed much the same: %(now)s at the end.") % {
            "over": over,
            "now": now,
        }
    way = _("came closer") if params["trend"] == "better" else _("went further off")
    size = figures.cents(params["change_cents"], params.get("change_uncertainty_cents"))
    return _("%(over)s it %(way)s by %(size)s: %(interval)s at first, %(now)s at the end.") % {
        "over": over,
        "way": way,
        "size": size,
        "interval": standing(interval, first),
        "now": now,
    }


def standing(interval: Interval, cents: float, uncertainty: float | None = None) -> str:
    """``18 ± 1 cents wide``; without a side where it rounds to nothing."""
    side = "off" if figures.rounds_to_nothing(cents) else _side(interval, cents)
    return f"{figures.cents(cents, uncertainty)} {side}"


def _note_moved(params: Mapping[str, Any]) -> str:
    way = "higher" if params["moved_cents"] > 0 else "lower"
    size = figures.cents(params["moved_cents"], params.get("uncertainty_cents"))
    own, other = params.get("finger"), params.get("other_finger")
    who = capital(finger(params)) if own is not None else f"The {params['which']} note"
    if not params.get("first"):
        return _("%(who)s was %(size)s %(way)s together than alone.") % {
            "who": who,
            "size": size,
            "way": way,
        }
    when = _("when the other note came to it")
    if own is not None and other is not None and other != own:
        when = (
            _("when the %(fingers)s came down") % {"fingers": _(FINGERS[other])}
            if other
            else _("when the open string joined it")
        )
    return f"{who} went {size} {way} {when}."


def _hold_short(params: Mapping[str, Any]) -> str:
    least = figures.seconds(params["least_hold_s"])
    asked = (
        _("The drill asks for %(least)s") % {"least": least}
        if params.get("asked")
        else _("With %(least)s or more") % {"least": least}
    )
    end = "." if params.get("asked") else _(" there is time to hear it settle.")
    return _("The last playing was held for %(params)s. %(asked)s%(end)s") % {
        "params": figures.seconds(params["held_s"]),
        "asked": asked,
        "end": end,
    }

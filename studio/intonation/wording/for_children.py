"""The sentences that a child reads of a mark, and of her page: few words, one thing at a time.

Every word comes from :data:`WORDS` and no sentence has more than :data:`LONGEST` of them; a test
renders all of them. Cents stay out, and so does how sure they are: those are in the sentence of
:mod:`studio.intonation.wording.sentences`, which stands behind "More". *Up* is higher, to the
bridge; *down* is lower, to the scroll. What is said is the same as there: a finger only where the
drill's fingering says it, one note only where it is known which has to move.
"""

import re
from collections.abc import Mapping
from typing import Any

from studio.figures.translation import N_, _
from studio.intonation.wording.advice import SMALL_MOVE_CENTS, TENTH, way_of
from studio.theory import Interval, Pitch

LONGEST = 10  # words in a sentence; chosen, for a reader of eight
_LISTED = (
    "a again alone an apart are as ask bit both bow bridge came change close closer did do "
    "down each far finger first for fourth good grown-up hear help high in is it lean leave "
    "lies little low me more move next not note notes nothing of on one open or other play "
    "played quite roll same scroll silent soft stays stretch string strings tap thank the them "
    "then third this time tip to together too try tune turn two up very was well went when "
    "where work yet you your"
)
WORDS = frozenset(_LISTED.split(" "))
NOTE_NAME = re.compile(r"[A-G][♭♯]?")
_KNOWN = re.compile(rf"{NOTE_NAME.pattern}|[0-9]+")

# What the page itself says.
WENT_WELL = N_("This went well")
TO_TRY = N_("Try this next")
UP_AND_DOWN = N_("Up is to the bridge. Down is to the scroll.")
CAME_CLOSER = N_("It came closer when you played it again.")
NOTHING = N_("Nothing to change this time.")
TAP = N_("Tap a note to hear it.")
MORE = "More"
HEAR_ME, HEAR_TRUE, HEAR_BOTH = N_("Hear me"), N_("Hear it in tune"), N_("Hear both")
DONE = N_("You did it. Thank you for your work.")
OF_THE_PAGE = (
    *(WENT_WELL, TO_TRY, UP_AND_DOWN, CAME_CLOSER, NOTHING, TAP, MORE),
    *(HEAR_ME, HEAR_TRUE, HEAR_BOTH, DONE),
)

_FINGERS = (
    N_("open string"),
    N_("first finger"),
    N_("second finger"),
    N_("third finger"),
    N_("fourth finger"),
)
_NOTES = {"upper": N_("the high note"), "lower": N_("the low note")}
_CLOSER_CENTS = 3.0  # chosen: a change smaller than this is no change


def child_sentence(code: str, params: Mapping[str, Any]) -> str:
    """What a child reads of a mark, in one to four short sentences.

    Parameters
    ----------
    code : one of the mark codes
    params : what the mark carries; what is missing is simply not said

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
    }
    if code not in renderers:
        raise ValueError(f"no child's sentence for code {code!r}; known: {', '.join(renderers)}")
    return " ".join(renderers[code](code, params))


def in_tune_of(reached: int, written: int) -> str:
    """How many of a drill's notes were in tune; empty where none was.

    >>> in_tune_of(5, 8)
    'You played 5 of 8 in tune.'
    """
    return (
        _("You played %(reached)s of %(written)s in tune.")
        % {"reached": reached, "written": written}
        if reached
        else ""
    )


def came_closer(params: Mapping[str, Any]) -> bool:
    """Whether the last playing of a run was nearer than its first, or than where it landed."""
    first, last = params.get("first_cents"), params.get("deviation_cents")
    if first is None or last is None:
        return False
    return bool(abs(first) - abs(last) >= _CLOSER_CENTS)


def too_hard(text: str, words: frozenset[str] = WORDS) -> list[str]:
    """Words that are not in a list, and sentences that are too long; empty where all is well.

    >>> too_hard("The interval is wide.")
    ['interval', 'wide']
    """
    said = re.findall(r"[^\s.,:;?–]+", text)
    known = [w for w in said if w.lower() in words or _KNOWN.fullmatch(w)]
    wrong = [word for word in said if word not in known]
    sentences = re.split(r"[.?]\s*", text)
    return wrong + [each for each in sentences if len(each.split()) > LONGEST]


# -- two notes -----------------------------------------------------------------------------------


def _interval(code: str, params: Mapping[str, Any]) -> list[str]:
    deviation = params.get("deviation_cents")
    short = params.get("interval")
    said = [_apart(code, _is_small(params), is_unison=short == "P1")]
    if deviation is None or short is None:
        return said
    said += _what_to_do(params)
    if Interval.parse(short).number >= TENTH and deviation < 0 and not params.get("open"):
        said.append(_("Do not stretch too far."))
    return said


def _apart(code: str, is_small: bool, is_unison: bool) -> str:
    if is_unison:
        return _("The two notes are not quite the same yet.")
    bit = "a bit " if is_small else ""
    far = _("far apart") if code == "interval_wide" else _("close")
    return _("The two notes are %(bit)stoo %(far)s.") % {"bit": bit, "far": far}


def _what_to_do(params: Mapping[str, Any]) -> list[str]:
    which = params.get("move", "either")
    if which == "neither":
        return [_("Both are open strings."), _("Tune them, then play this again.")]
    if params.get("one_finger"):
        return [_("One finger lies on both strings."), _("Turn it a little.")]
    if which == "either":
        return _either(params)
    if params.get("because") == "slipped":
        return _slipped(str(which), params)
    if params.get("open"):
        return _beside_open_string(str(which), params)
    return [_step(str(which), params)]


def _either(params: Mapping[str, Any]) -> list[str]:
    said = [_step("upper", params), _or_low(params)]
    if params.get("maybe_open"):
        said.append(_("An open string stays as it is."))
    elif params["interval"] == "P5" and not params.get("moves"):
        said.append(_("Is one finger on both strings? Then turn it."))
    return said


def _or_low(params: Mapping[str, Any]) -> str:
    """``Or roll it up on the low note.``: the second way, shorter than the first."""
    way = "down" if way_of("lower", params)[0] == "lower" else "up"
    do = "roll" if _is_small(params) else "move"
    finger = _finger("lower", params)
    if finger:
        return f"Or {do} {finger} {way}."
    return _("Or %(do)s it %(way)s on the %(value)s.") % {
        "do": do,
        "way": way,
        "value": _("other") if params["interval"] == "P1" else _("low note"),
    }


def _slipped(which: str, params: Mapping[str, Any]) -> list[str]:
    way = "up" if params["slipped_cents"] > 0 else "down"
    went = f"Together, {_(_NOTES[which])} went {way}."
    return [_("Each note was good alone."), went, _("Leave it where it was.")]


def _beside_open_string(which: str, params: Mapping[str, Any]) -> list[str]:
    if params.get("open_off_cents") is not None:
        return [_("The open string is not in tune."), _("Tune it first, then play this again.")]
    other = _(_NOTES["lower" if which == "upper" else "upper"])
    stays = _("%(upper)s%(other)s is an open string.") % {
        "upper": other[:1].upper(),
        "other": other[1:],
    }
    if params["interval"] == "P1":
        stays = _("One of the two is an open string.")
    return [stays, _step(which, params)]


def _step(which: str, params: Mapping[str, Any]) -> str:
    """``For the high note, roll the tip up a little.``"""
    way = "down" if way_of(which, params)[0] == "lower" else "up"
    small, finger = _is_small(params), _finger(which, params)
    if finger:
        return (
            _("Roll the tip of %(finger)s %(way)s a little.") % {"finger": finger, "way": way}
            if small
            else f"Move {finger} {way}."
        )
    note = _("one of them") if params["interval"] == "P1" else _(_NOTES[which])
    move = (
        _("roll the tip %(way)s a little") % {"way": way}
        if small
        else _("move the finger %(way)s") % {"way": way}
    )
    return f"For {note}, {move}."


def _finger(which: str, params: Mapping[str, Any]) -> str:
    """``your first finger`` where a drill's fingering says which one plays that note."""
    moves = (move["finger"] for move in params.get("moves") or () if move["which"] == which)
    own = next(moves, None)
    return f"your {_(_FINGERS[own])}" if own else ""


def _is_small(params: Mapping[str, Any]) -> bool:
    deviation = params.get("deviation_cents")
    return deviation is not None and abs(deviation) < SMALL_MOVE_CENTS


# -- one note, and the bow -----------------------------------------------------------------------


def _single(code: str, params: Mapping[str, Any]) -> list[str]:
    high, way = ("high", "down") if code == "single_sharp" else ("low", "up")
    small = _is_small(params)
    said = _("This note is %(value)stoo %(high)s.") % {
        "value": "a bit " if small else "",
        "high": high,
    }
    return [
        said,
        _("Roll the tip %(way)s a little.") % {"way": way}
        if small
        else _("Move the finger %(way)s.") % {"way": way},
    ]


def _open_string(_rest: str, params: Mapping[str, Any]) -> list[str]:
    name = f"{Pitch.parse(params['pitch']).pretty[:-1]} " if params.get("pitch") else ""
    deviation = params.get("deviation_cents")
    side = _("not in tune")
    if deviation is not None:
        side = _("too high") if deviation > 0 else _("too low")
    return [
        _("Your open %(name)sstring is %(side)s.") % {"name": name, "side": side},
        _("Ask a grown-up to help you tune it."),
    ]


def _dropout(_rest: str, params: Mapping[str, Any]) -> list[str]:
    said = [_("%(params)s went silent.") % {"params": _one_of(params)}]
    return [*said, _("Leave the bow on both strings.")] if params.get("held") else said


def _balance(_rest: str, params: Mapping[str, Any]) -> list[str]:
    said = [_("%(params)s was very soft.") % {"params": _one_of(params)}]
    return [*said, _("Lean the bow on it a bit more.")] if params.get("held") else said


def _one_of(params: Mapping[str, Any]) -> str:
    note = _(_NOTES.get(params.get("which") or "", N_("one of the two notes")))
    return f"{note[:1].upper()}{note[1:]}"

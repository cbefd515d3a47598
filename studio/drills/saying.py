"""What a drill made to order says when the teacher writes nothing else."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Level
from studio.notation import INTERVALS, Request, Score
from studio.notation.manners import FREE, MANNERS
from studio.notation.request import FIRST_STEPS
from studio.theory.keys import Key
from studio.translating import gettext_lazy

from .models import Interval

OF_WORD = {
    "unisons": Interval.UNISON,
    "thirds": Interval.THIRDS,
    "fourths": Interval.FOURTH,
    "fifths": Interval.FIFTH,
    "sixths": Interval.SIXTHS,
    "octaves": Interval.OCTAVE,
    "tenths": Interval.TENTHS,
}
OF_PATTERN = {
    "one_finger": Interval.FIFTH,
    "third_finger_check": Interval.OCTAVE,
    "fourth_finger_check": Interval.UNISON,
    "first_octaves": Interval.OCTAVE,
    "ringing_octaves": Interval.OCTAVE,
    "fingered_octaves": Interval.OCTAVE,
}
IN_ONE_INTERVAL = ("scale", "pairs", "shifting", "chromatic")
LEVELS = {
    **dict.fromkeys(FIRST_STEPS, Level.FIRST_STEPS),
    "fingered_octaves": Level.ADVANCED,
}
WITHOUT_KEY = ("third_finger_check", "fourth_finger_check", "ringing_octaves")
# How a pattern is played, where that is more than the order of a double stop's notes.
_SHIFTING = gettext_lazy(
    "Play the double stop. Then let the hand slide lightly with the finger of the small note, hear "
    "that note alone, and set the other finger down beside it"
)
_ONE_STRING = gettext_lazy(
    "One note after another on the one string. Hear each one before the next"
)
_CROSSING = {
    3: gettext_lazy(
        "Play the two lower notes, then let the bow cross to the two upper ones in the "
        "same stroke. "
        "The middle note sounds on"
    ),
    4: gettext_lazy(
        "Play the two lower notes, then let the bow cross to the two upper ones in the "
        "same stroke. "
        "All fingers are down before it begins"
    ),
}
_SLURRED = {2: "Two", 4: "Four", 8: "Eight"}
_RINGING = gettext_lazy(
    "When it is in tune the open string rings by itself, and after the bow has left it"
)
_WIDE = gettext_lazy("These lie wide for the hand: a few at a time, and never into pain")


@dataclass(frozen=True, slots=True)
class Saying:
    """Title and words, and what the drill is found by on the shelf."""

    title: str
    words: str
    interval: str
    key: str
    level: str


def saying_of(request: Request, score: Score) -> Saying:
    """Title and words of a drill made to order."""
    key = "" if request.pattern in WITHOUT_KEY else request.spelled_key.written
    level = LEVELS.get(request.pattern, "")
    return Saying(score.title[:120], words_of(request), _interval_of(request), key, level)


def _interval_of(request: Request) -> str:
    """The one interval that a drill is about; an arpeggio has several, but for octaves."""
    parallel = request.pattern == "arpeggio" and request.interval == "octaves"
    if request.pattern in IN_ONE_INTERVAL or parallel:
        return OF_WORD[request.interval]
    return OF_PATTERN.get(request.pattern, Interval.MIXED)


def words_of(request: Request) -> str:
    """How the drill is to be played, in the usual way of working (common practice, no source)."""
    first = _first_words(request)
    if request.playings > 1:
        first += f", {request.playings} times"
    if request.hold_s is not None:
        first += _(", each held for %(hold_s)s seconds or longer") % {
            "hold_s": figures.number(request.hold_s, 2)
        }
    said = [first, *_more_words(request)]
    if request.rhythm == FREE:
        said += [_("Repeat each one until it is in tune, then move on")]
        said += [_("No rhythm and no hurry: leave time to hear it")]
    else:
        said += [
            _("Slow enough to hear each one"),
            _("Stop at one that is not in tune and mend it"),
        ]
    return _("%(said)s. Rest when the hand is tired.") % {"said": ". ".join(said)}


def _first_words(request: Request) -> str:
    if request.pattern in ("chords", "inversions"):
        return _CROSSING[request.parts]
    other = {"shifting": _SHIFTING, "one_string": _ONE_STRING}
    return other.get(request.pattern, _(MANNERS[request.manner].words))


def _more_words(request: Request) -> list[str]:
    found = []
    if request.slur > 1:
        found.append(_("%(slurred)s to a bow") % {"slurred": _SLURRED[request.slur]})
    if request.fingers_down:
        found.append(_("Leave each finger on its string until it has to move"))
    if request.pattern == "ringing_octaves":
        found.append(_RINGING)
    if request.pattern == "fingered_octaves":
        found.append(_WIDE)
    return found


def family(interval: str) -> str:
    """The word for a drill's interval, where it has one among the scales."""
    return next((word for word in INTERVALS if OF_WORD[word] == interval), "")


def key_name(score: Score) -> str:
    """The key as drills name it; empty where the page has none."""
    return Key.parse(score.key).written if score.key else ""

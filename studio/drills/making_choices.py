"""What the form of a drill offers: words for each part of a request; what each pattern asks."""

from django.utils.translation import gettext as _

from studio import figures
from studio.theory.fingers import COMFORTABLE_SPAN_MM, MAX_POSITION, position_name
from studio.translating import gettext_lazy

PATTERNS = [
    ("scale", gettext_lazy("a scale")),
    ("pairs", gettext_lazy("double stops by name")),
    ("one_finger", gettext_lazy("one finger across two strings")),
    ("drone_above", gettext_lazy("fingers under an open string")),
    ("drone_below", gettext_lazy("fingers over an open string")),
    ("third_finger_check", gettext_lazy("third finger against the open string")),
    ("fourth_finger_check", gettext_lazy("fourth finger against the next open string")),
    ("first_octaves", gettext_lazy("first octaves")),
    ("ringing_octaves", gettext_lazy("ringing octaves against the open string")),
    ("shifting", gettext_lazy("shifting, with guide notes")),
    ("mixed", gettext_lazy("mixed intervals on each step")),
    ("resolutions", gettext_lazy("resolutions and cadences")),
    ("arpeggio", gettext_lazy("an arpeggio")),
    ("chromatic", gettext_lazy("a chromatic scale")),
    ("fingered_octaves", gettext_lazy("fingered octaves")),
    ("one_string", gettext_lazy("a scale on one string")),
    ("chords", gettext_lazy("chords on each step, in pairs")),
    ("inversions", gettext_lazy("one chord in its inversions, in pairs")),
]
# What each asks for, beside its key and what is folded.
_RANGED = ("octaves", "direction", "strings", "manner")
ASKS = {
    "scale": ("interval", "minor", "start", *_RANGED),
    "pairs": ("pairs", "strings", "manner"),
    "one_finger": ("finger", "strings", "manner"),
    "drone_above": ("direction", "strings", "manner"),
    "drone_below": ("direction", "strings", "manner"),
    "third_finger_check": ("strings", "manner"),
    "fourth_finger_check": ("strings", "manner"),
    "first_octaves": ("strings", "manner"),
    "ringing_octaves": ("strings", "manner"),
    "shifting": ("interval", "strings"),
    "mixed": ("mixed", "minor", *_RANGED),
    "resolutions": ("resolution", "direction", "strings", "manner"),
    "arpeggio": ("chord", "interval", *_RANGED),
    "chromatic": ("interval", *_RANGED),
    "fingered_octaves": ("minor", *_RANGED),
    "one_string": ("string", "minor", "octaves", "direction"),
    "chords": ("parts",),
    "inversions": ("chord", "parts"),
}
WITHOUT_KEY = ("third_finger_check", "fourth_finger_check", "ringing_octaves")
MIXED = [
    ("thirds-sixths-octaves", gettext_lazy("thirds, sixths and octaves")),
    ("thirds-sixths", gettext_lazy("thirds and sixths")),
    ("sixths-octaves", gettext_lazy("sixths and octaves")),
    ("thirds-octaves", gettext_lazy("thirds and octaves")),
    ("octaves-tenths", gettext_lazy("octaves and tenths")),
    ("thirds-fourths-fifths-sixths", gettext_lazy("thirds, fourths, fifths and sixths")),
]
RESOLUTIONS = [
    ("tritone_third", gettext_lazy("diminished fifth to third")),
    ("tritone_sixth", gettext_lazy("augmented fourth to sixth")),
    ("sixth_octave", gettext_lazy("sixth to octave")),
    ("suspension", gettext_lazy("seventh, sixth, octave")),
    ("cadence_thirds", gettext_lazy("cadence from third to third")),
    ("cadence_sixths", gettext_lazy("cadence from sixth to sixth")),
]
CHORDS = [
    ("tonic", gettext_lazy("on the tonic")),
    ("dominant_seventh", gettext_lazy("dominant seventh")),
    ("leading_seventh", gettext_lazy("seventh on the leading note")),
]
PARTS = [(3, gettext_lazy("three notes")), (4, gettext_lazy("four notes"))]
MINORS = [
    ("melodic", gettext_lazy("melodic")),
    ("harmonic", gettext_lazy("harmonic")),
    ("natural", gettext_lazy("natural")),
]
ONE_STRING = [
    (4, gettext_lazy("lowest")),
    (3, gettext_lazy("second lowest")),
    (2, gettext_lazy("second highest")),
    (1, gettext_lazy("highest")),
]
RHYTHMS = [
    ("free", gettext_lazy("none")),
    ("even", gettext_lazy("even")),
    ("dotted", gettext_lazy("dotted")),
    ("reverse_dotted", gettext_lazy("short, then dotted")),
    ("long_short_short", gettext_lazy("one long, two short")),
    ("short_short_long", gettext_lazy("two short, one long")),
]
SLURS = [
    (1, gettext_lazy("separate bows")),
    (2, gettext_lazy("2 to a bow")),
    (4, gettext_lazy("4 to a bow")),
    (8, gettext_lazy("8 to a bow")),
]
FIRST_BOWS = [
    ("", gettext_lazy("not said")),
    ("down", gettext_lazy("down bow")),
    ("up", gettext_lazy("up bow")),
]
STROKES = [
    ("", gettext_lazy("not said")),
    ("whole_bows", gettext_lazy("whole bows")),
    ("upper_half", gettext_lazy("upper half")),
    ("middle", gettext_lazy("middle")),
    ("lower_half", gettext_lazy("lower half")),
    ("martele", gettext_lazy("martelé")),
    ("spiccato", gettext_lazy("spiccato")),
]
MANNER_WORDS = {
    "together": gettext_lazy("both together"),
    "separately_then_together": gettext_lazy("lower, upper, then both"),
    "upper_first": gettext_lazy("upper, lower, then both"),
    "lower_then_both": gettext_lazy("lower, then both"),
    "upper_then_both": gettext_lazy("upper, then both"),
    "both_then_upper": gettext_lazy("both, then upper"),
    "both_then_lower": gettext_lazy("both, then lower"),
    "hold_lower": gettext_lazy("hold the lower, add the upper"),
    "hold_upper": gettext_lazy("hold the upper, add the lower"),
}
DIRECTIONS = [
    ("up_and_down", gettext_lazy("up and down")),
    ("up", gettext_lazy("up")),
    ("down", gettext_lazy("down")),
]
STRINGS = [
    ("", gettext_lazy("across the strings")),
    ("4-3", gettext_lazy("the two lowest strings")),
    ("3-2", gettext_lazy("the two middle strings")),
    ("2-1", gettext_lazy("the two highest strings")),
]
FITTING = 0
TONIC = 1  # what an address that says nothing of it means
STARTS = [
    (TONIC, gettext_lazy("the tonic")),  # first: a form without a choice shows this
    (FITTING, gettext_lazy("the lowest that lies well")),
    *(
        (2, gettext_lazy("the second degree")),
        (3, gettext_lazy("the third degree")),
        (4, gettext_lazy("the fourth degree")),
    ),
    *(
        (5, gettext_lazy("the fifth degree")),
        (6, gettext_lazy("the sixth degree")),
        (7, gettext_lazy("the seventh degree")),
    ),
]


def hands() -> list[tuple[str, str]]:
    """What is comfortable for a hand, from the first finger to the fourth."""
    said = {"small": _("small"), "medium": _("medium"), "large": _("large")}
    widest = _("%(hand)s: up to %(span)s")
    return [
        (hand, widest % {"hand": said[hand], "span": figures.millimetres(mm)})
        for hand, mm in COMFORTABLE_SPAN_MM.items()
    ]


def highest() -> list[tuple[int, str]]:
    """How high the hand may go, in the words of whoever reads."""
    named = [(position, position_name(position)) for position in range(1, MAX_POSITION)]
    return [(MAX_POSITION, gettext_lazy("as high as it goes")), *named]


def patterns_for(name: str) -> str:
    """The patterns that ask for a field, between blanks; empty where all do."""
    if name == "key":
        return " ".join(pattern for pattern in ASKS if pattern not in WITHOUT_KEY)
    return " ".join(pattern for pattern, names in ASKS.items() if name in names)

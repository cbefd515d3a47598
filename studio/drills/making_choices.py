"""What the form of a drill offers: words for each part of a request; what each pattern asks."""

from studio.theory.fingers import MAX_POSITION, position_name

PATTERNS = [
    ("scale", "a scale"),
    ("pairs", "double stops by name"),
    ("one_finger", "one finger across two strings"),
    ("drone_above", "fingers under an open string"),
    ("drone_below", "fingers over an open string"),
    ("third_finger_check", "third finger against the open string"),
    ("fourth_finger_check", "fourth finger against the next open string"),
    ("first_octaves", "first octaves"),
    ("ringing_octaves", "ringing octaves against the open string"),
    ("shifting", "shifting, with guide notes"),
    ("mixed", "mixed intervals on each step"),
    ("resolutions", "resolutions and cadences"),
    ("arpeggio", "an arpeggio"),
    ("chromatic", "a chromatic scale"),
    ("fingered_octaves", "fingered octaves"),
    ("one_string", "a scale on one string"),
    ("chords", "chords on each step, in pairs"),
    ("inversions", "one chord in its inversions, in pairs"),
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
    ("thirds-sixths-octaves", "thirds, sixths and octaves"),
    ("thirds-sixths", "thirds and sixths"),
    ("sixths-octaves", "sixths and octaves"),
    ("thirds-octaves", "thirds and octaves"),
    ("octaves-tenths", "octaves and tenths"),
    ("thirds-fourths-fifths-sixths", "thirds, fourths, fifths and sixths"),
]
RESOLUTIONS = [
    ("tritone_third", "diminished fifth to third"),
    ("tritone_sixth", "augmented fourth to sixth"),
    ("sixth_octave", "sixth to octave"),
    ("suspension", "seventh, sixth, octave"),
    ("cadence_thirds", "cadence from third to third"),
    ("cadence_sixths", "cadence from sixth to sixth"),
]
CHORDS = [
    ("tonic", "on the tonic"),
    ("dominant_seventh", "dominant seventh"),
    ("leading_seventh", "seventh on the leading note"),
]
PARTS = [(3, "three notes"), (4, "four notes")]
ONE_STRING = [(4, "lowest"), (3, "second lowest"), (2, "second highest"), (1, "highest")]
RHYTHMS = [
    ("free", "none"),
    ("even", "even"),
    ("dotted", "dotted"),
    ("reverse_dotted", "short, then dotted"),
    ("long_short_short", "one long, two short"),
    ("short_short_long", "two short, one long"),
]
SLURS = [(1, "separate bows"), (2, "2 to a bow"), (4, "4 to a bow"), (8, "8 to a bow")]
FIRST_BOWS = [("", "not said"), ("down", "down bow"), ("up", "up bow")]
STROKES = [
    ("", "not said"),
    ("whole_bows", "whole bows"),
    ("upper_half", "upper half"),
    ("middle", "middle"),
    ("lower_half", "lower half"),
    ("martele", "martelé"),
    ("spiccato", "spiccato"),
]
MANNER_WORDS = {
    "together": "both together",
    "separately_then_together": "lower, upper, then both",
    "upper_first": "upper, lower, then both",
    "lower_then_both": "lower, then both",
    "upper_then_both": "upper, then both",
    "both_then_upper": "both, then upper",
    "both_then_lower": "both, then lower",
    "hold_lower": "hold the lower, add the upper",
    "hold_upper": "hold the upper, add the lower",
}
DIRECTIONS = [("up_and_down", "up and down"), ("up", "up"), ("down", "down")]
STRINGS = [
    ("", "across the strings"),
    ("4-3", "the two lowest strings"),
    ("3-2", "the two middle strings"),
    ("2-1", "the two highest strings"),
]
FITTING = 0
TONIC = 1  # what an address that says nothing of it means
STARTS = [
    (TONIC, "the tonic"),  # first: a form without a choice shows this
    (FITTING, "the lowest that lies well"),
    *((2, "the second degree"), (3, "the third degree"), (4, "the fourth degree")),
    *((5, "the fifth degree"), (6, "the sixth degree"), (7, "the seventh degree")),
]
HIGHEST = [
    (MAX_POSITION, "as high as it goes"),
    *((position, position_name(position)) for position in range(1, MAX_POSITION)),
]


def patterns_for(name: str) -> str:
    """The patterns that ask for a field, between blanks; empty where all do."""
    if name == "key":
        return " ".join(pattern for pattern in ASKS if pattern not in WITHOUT_KEY)
    return " ".join(pattern for pattern, names in ASKS.items() if name in names)

"""What a drill is asked to be: :class:`Request`; and why it cannot be: :class:`Infeasible`."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from studio.figures.translation import N_, _
from studio.notation.manners import FIRST_BOWS, FREE, MANNERS, RHYTHMS, SLURS, STROKES
from studio.notation.score import HOLD_S_BOUNDS
from studio.theory import Instrument, Key, Pitch, instrument_named, interval_between
from studio.theory.fingers import COMFORTABLE_SPAN_MM, MAX_POSITION
from studio.theory.instruments import require_string_length

# The number of each interval (a third is 3), by the word for a scale in it.
INTERVALS = {
    "unisons": 1,
    "thirds": 3,
    "fourths": 4,
    "fifths": 5,
    "sixths": 6,
    "octaves": 8,
    "tenths": 10,
}
PATTERNS = (
    *("scale", "pairs", "one_finger", "third_finger_check", "ringing_octaves", "shifting"),
    *("mixed", "resolutions", "arpeggio", "chromatic", "fingered_octaves", "one_string"),
    *("chords", "inversions", "drone_above", "drone_below", "fourth_finger_check"),
    "first_octaves",
)
# For beginners: set out large.
FIRST_STEPS = (
    *("one_finger", "third_finger_check", "drone_above", "drone_below", "fourth_finger_check"),
    "first_octaves",
)
SINGLE_LINES = ("one_string",)  # judged by a melodic tuning
DIRECTIONS = ("up", "down", "up_and_down")
MINOR_FORMS = ("melodic", "harmonic", "natural")
OCTAVE_WORDS = {1: N_("one octave"), 2: N_("two octaves"), 3: N_("three octaves")}
OCTAVES_BOUNDS = (1, 3)
PLAYINGS_BOUNDS = (1, 12)
MOST_PAIRS = 24
MIXED = ("thirds", "sixths", "octaves")
RESOLUTIONS = (
    *("tritone_third", "tritone_sixth", "sixth_octave", "suspension", "cadence_thirds"),
    "cadence_sixths",
)
CHORDS = ("tonic", "dominant_seventh", "leading_seventh")
PARTS = (3, 4)
# What a fingering goes for; the prices of each stand in ``fingering``.
FINGERINGS = ("usual", "low_positions", "few_shifts", "few_crossings", "open_strings")
START_BOUNDS = (0, 7)
MIXED_BOUNDS = (2, 4)
# What older requests do not say.
_LATER = (
    *("fingers_down", "slur", "rhythm", "first_bow", "stroke", "mixed", "resolution", "chord"),
    *("parts", "string", "highest_position", "fingering"),
)
TONIC = 1


class Infeasible(ValueError):
    """The drill cannot be played as asked.

    ``nearest`` is the request closest to it that can be, or ``None``.
    """

    def __init__(self, reason: str, nearest: "Request | None" = None) -> None:
        super().__init__(reason)
        self.reason = reason
        self.nearest = nearest


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """A drill to be generated.

    Parameters
    ----------
    pattern : ``scale`` in one interval; ``pairs`` that are named; ``one_finger`` across two
        strings; ``third_finger_check`` and ``ringing_octaves`` against the open string below;
        ``shifting`` in one interval, with guide notes; ``mixed`` intervals on each step of a scale;
        ``resolutions``; ``arpeggio`` and ``chromatic`` scale in one interval; ``fingered_octaves``;
        a scale on ``one_string``; ``chords`` on each step and ``inversions`` of one chord, lower
        pair then upper pair; ``drone_above`` and ``drone_below`` a moving finger,
        ``fourth_finger_check``, ``first_octaves``
    interval : a word of ``INTERVALS``, where the pattern is in one
    key : key name such as ``G major``
    instrument : violin or viola
    octaves : range of the lower voice, 1 to 3 (scales and arpeggios)
    direction : up, down, up_and_down
    strings : one pair of neighbouring strings by the player's numbers, the lower string first
        (``(4, 3)``); ``None`` to go across the strings
    manner : a word of ``MANNERS``: in which order the two notes of each are played
    fingers_down : whether a finger that was set is left on its string
    playings : how often each is to be played together, 1 to 12
    hold_s : least time to hold each, in seconds, 0.2 to 60; ``None`` to leave it open
    minor : form of the minor scale: melodic, harmonic or natural
    finger : for ``one_finger``, 1 to 3
    open_strings : whether open strings may be used
    string_length_mm : the pupil's; the instrument's usual one when ``None``
    hand : small, medium or large: what counts as a wide stretch
    slur : how many to a bow: 1, 2, 4 or 8
    rhythm : a word of ``RHYTHMS``; ``free`` for none
    first_bow : ``down`` or ``up``, or empty to leave it open
    stroke : a word of ``STROKES``
    mixed : for ``mixed``, the intervals on each step, in turn: two to four of ``INTERVALS``
    resolution : for ``resolutions``, a word of ``RESOLUTIONS``
    chord : for ``arpeggio`` and ``inversions``, a word of ``CHORDS``
    parts : for ``chords`` and ``inversions``, 3 or 4
    string : for ``one_string``, the player's number
    highest_position : the highest that may be used, 1 to 15
    start : for ``scale``, the degree of the key that the lower voice begins on, 1 to 7; 0 for the
        lowest double stop of the key that lies well, and the tonic where none does. A request that
        was stored without it means the tonic. Other patterns have 0
    fingering : a word of ``FINGERINGS``
    pairs : for ``pairs``, the double stops in the order played, each its lower and its upper note
        by name, all of them of the interval

    Raises
    ------
    ValueError
        Naming the value and the bound.
    """

    pattern: str = "scale"
    interval: str = "octaves"
    key: str = "G major"
    instrument: str = "violin"
    octaves: int = 1
    direction: str = "up_and_down"
    strings: tuple[int, int] | None = None
    manner: str = "separately_then_together"
    playings: int = 1
    hold_s: float | None = None
    minor: str = "melodic"
    finger: int = 1
    open_strings: bool = True
    string_length_mm: float | None = None
    hand: str = "medium"
    pairs: tuple[tuple[str, str], ...] = ()
    fingers_down: bool = False
    slur: int = 1
    rhythm: str = FREE
    first_bow: str = ""
    stroke: str = ""
    mixed: tuple[str, ...] = MIXED
    resolution: str = RESOLUTIONS[0]
    chord: str = CHORDS[0]
    parts: int = 3
    string: int = 3
    highest_position: int = MAX_POSITION
    start: int = 0
    fingering: str = FINGERINGS[0]

    def __post_init__(self) -> None:
        _require_word("pattern", self.pattern, PATTERNS)
        _require_word("interval", self.interval, tuple(INTERVALS))
        _require_word("direction", self.direction, DIRECTIONS)
        _require_word("manner", self.manner, tuple(MANNERS))
        _require_word("minor", self.minor, MINOR_FORMS)
        _require_word("hand", self.hand, tuple(COMFORTABLE_SPAN_MM))
        _require_word("rhythm", self.rhythm, tuple(RHYTHMS))
        _require_word("first_bow", self.first_bow, FIRST_BOWS)
        _require_word("stroke", self.stroke, tuple(STROKES))
        _require_word("resolution", self.resolution, RESOLUTIONS)
        _require_word("chord", self.chord, CHORDS)
        _require_word("slur", self.slur, SLURS)
        _require_word("parts", self.parts, PARTS)
        object.__setattr__(self, "mixed", tuple(self.mixed))
        _require_number(_("number of mixed intervals"), len(self.mixed), MIXED_BOUNDS)
        for word in self.mixed:
            _require_word("mixed", word, tuple(INTERVALS))
        _require_number("string", self.string, (1, 4))
        _require_number("highest_position", self.highest_position, (1, MAX_POSITION))
        _require_number("start", self.start, START_BOUNDS)
        if self.pattern != "scale":
            object.__setattr__(self, "start", 0)
        _require_word("fingering", self.fingering, FINGERINGS)
        _require_number("octaves", self.octaves, OCTAVES_BOUNDS)
        _require_number("playings", self.playings, PLAYINGS_BOUNDS)
        _require_number("finger", self.finger, (1, 3))
        if self.hold_s is not None:
            _require_number("hold_s", self.hold_s, HOLD_S_BOUNDS)
        object.__setattr__(self, "key", str(Key.parse(self.key)))
        length = self.player.string_length_mm
        object.__setattr__(self, "string_length_mm", float(self.string_length_mm or length))
        require_string_length(self.length_mm)
        if self.strings is not None:
            object.__setattr__(self, "strings", tuple(self.strings))
            if self.strings not in ((4, 3), (3, 2), (2, 1)):
                raise ValueError(
                    f"strings {self.strings} are not neighbours; write 4 and 3, 3 and 2, or 2 and 1"
                )
        if self.pattern == "pairs":
            _require_number("pairs", len(self.pairs), (1, MOST_PAIRS))
            for low, high in self.double_stops:
                _require_interval(low, high, self)

    @property
    def player(self) -> Instrument:
        """The instrument, with its open strings."""
        return instrument_named(self.instrument)

    @property
    def spelled_key(self) -> Key:
        """The key."""
        return Key.parse(self.key)

    @property
    def scale_name(self) -> str:
        """The key with its form of minor, for titles: ``A melodic minor``."""
        key = self.spelled_key
        return key.name if key.mode == "major" else key.named(self.minor)

    @property
    def number(self) -> int:
        """The interval's number: 3 for thirds."""
        return INTERVALS[self.interval]

    @property
    def double_stops(self) -> list[tuple[Pitch, Pitch]]:
        """The pairs that are named, as pitches."""
        return [(Pitch.parse(low), Pitch.parse(high)) for low, high in self.pairs]

    @property
    def length_mm(self) -> float:
        """The string length in mm."""
        assert self.string_length_mm is not None  # made so in __post_init__
        return self.string_length_mm

    def but(self, **changes: Any) -> "Request":
        """The same request with some of it changed."""
        return replace(self, **changes)

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        plain = asdict(self)
        plain["strings"] = list(self.strings) if self.strings else None
        plain["pairs"] = [list(pair) for pair in self.pairs]
        if not self.pairs:  # so that what was asked before pairs could be named is still the same
            del plain["pairs"]
        for name in _LATER:  # likewise
            if plain[name] == type(self).__dataclass_fields__[name].default:
                del plain[name]
        if self.start == TONIC or self.pattern != "scale":  # likewise
            del plain["start"]
        if "mixed" in plain:
            plain["mixed"] = list(self.mixed)
        return plain

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> "Request":
        """A stored request; what is unknown is left out, what is missing gets its default."""
        known = {name: data[name] for name in cls.__dataclass_fields__ if name in data}
        if known.get("strings"):
            known["strings"] = tuple(known["strings"])
        known["pairs"] = tuple(tuple(pair) for pair in known.get("pairs", ()))
        known.setdefault("start", TONIC)
        return cls(**known)


def _require_word(name: str, value: object, words: tuple[object, ...]) -> None:
    if value not in words:
        known = ", ".join(map(str, filter(None, words)))
        raise ValueError(f"{name} {value!r} is not known; write {known}")


def _require_number(name: str, value: float, bounds: tuple[float, float]) -> None:
    low, high = bounds
    if not low <= value <= high:
        raise ValueError(f"{name} {value} is outside {low:g} to {high:g}")


def _require_interval(low: Pitch, high: Pitch, request: Request) -> None:
    if interval_between(low, high).number != request.number or high.midi < low.midi:
        raise ValueError(f"{low} with {high} is not one of {request.interval}")

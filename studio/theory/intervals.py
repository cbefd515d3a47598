"""Musical intervals: names, short names and their sizes in semitones.

An interval is spelled (a number and a quality: a major sixth) or, where only the sound is
known, named by its semitones; six semitones are then a *tritone*, because the sound alone does
not tell an augmented fourth from a diminished fifth.

Short names: quality (P perfect, M major, m minor, A augmented, d diminished) and number:
``P8``, ``M6``, ``m10``. ``TT`` is the tritone without a spelling, ``TT+8`` an octave wider.
"""

import re
from dataclasses import dataclass
from functools import lru_cache

from studio.theory.pitches import Pitch

# Semitones of the perfect or major interval within the octave, by number 1 to 7.
_BASE_SEMITONES = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 11}
_PERFECT = {1, 4, 5}
_QUALITY_WORDS = {
    "P": "perfect",
    "M": "major",
    "m": "minor",
    "A": "augmented",
    "d": "diminished",
    "AA": "doubly augmented",
    "dd": "doubly diminished",
}
_NUMBER_WORDS = (
    *("unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth"),
    *("tenth", "eleventh", "twelfth", "thirteenth", "fourteenth", "fifteenth", "sixteenth"),
    *("seventeenth", "eighteenth", "nineteenth", "twentieth", "twenty-first", "twenty-second"),
    *("twenty-third", "twenty-fourth", "twenty-fifth", "twenty-sixth", "twenty-seventh"),
    *("twenty-eighth", "twenty-ninth"),
)
MAX_NUMBER = len(_NUMBER_WORDS)
MAX_SEMITONES = 48
TRITONE = "TT"
# The usual name of each size within the octave; the tritone has none.
_USUAL = {
    0: ("P", 1),
    1: ("m", 2),
    2: ("M", 2),
    3: ("m", 3),
    4: ("M", 3),
    5: ("P", 4),
    7: ("P", 5),
    8: ("m", 6),
    9: ("M", 6),
    10: ("m", 7),
    11: ("M", 7),
}
_SHORT = re.compile(r"(P|M|m|AA|A|dd|d)(\d{1,2})")


def _simple(number: int) -> tuple[int, int]:
    """The number within the octave (1 to 7) and the octaves above it."""
    octaves, rest = divmod(number - 1, 7)
    return rest + 1, octaves


@dataclass(frozen=True, slots=True)
class Interval:
    """An interval with a quality (P M m A d AA dd, or TT) and a number (1 unison, 8 octave).

    Raises
    ------
    ValueError
        For a quality that the number cannot have (a perfect third) or a number outside 1 to 29.

    Examples
    --------
    >>> Interval("M", 6).name, Interval("M", 6).semitones
    ('major sixth', 9)
    """

    quality: str
    number: int

    def __post_init__(self) -> None:
        if not 1 <= self.number <= MAX_NUMBER:
            raise ValueError(f"interval number {self.number} is outside 1 to {MAX_NUMBER}")
        simple, _ = _simple(self.number)
        if self.quality == TRITONE:
            if simple != 4:
                raise ValueError(
                    "a tritone without a spelling is written with number 4, 11, 18 or 25"
                )
            return
        allowed = {"P", "A", "d", "AA", "dd"} if simple in _PERFECT else set(_QUALITY_WORDS) - {"P"}
        if self.quality not in allowed:
            raise ValueError(
                f"a {_NUMBER_WORDS[self.number - 1]} cannot have quality {self.quality!r}; "
                f"it can have {', '.join(sorted(allowed))}"
            )

    @classmethod
    def parse(cls, short: str) -> "Interval":
        """The interval of a short name such as ``P8``, ``m10``, ``TT`` or ``TT+8``."""
        if short == TRITONE:
            return cls(TRITONE, 4)
        if short.startswith(f"{TRITONE}+"):
            octaves = {"8": 1, "15": 2, "22": 3}.get(short[3:])
            if octaves:
                return cls(TRITONE, 4 + 7 * octaves)
        found = _SHORT.fullmatch(short)
        if not found:
            raise ValueError(
                f"{short!r} is not an interval; write it like P8, M6, m3 or TT for a tritone"
            )
        return cls(found.group(1), int(found.group(2)))

    @property
    def semitones(self) -> int:
        """Size in equal-tempered semitones."""
        return _semitones(self.quality, self.number)

    @property
    def fifths(self) -> int | None:
        """Steps on the line of fifths (major third 4, minor third -3); ``None`` if unspelled."""
        if self.quality == TRITONE:
            return None
        # One fifth up is 7 semitones and 4 steps; solve 7*k = semitones - 12*octaves.
        steps, semitones = self.number - 1, self.semitones
        return 7 * semitones - 12 * steps

    @property
    def simple(self) -> "Interval":
        """The same interval with whole octaves taken out, an octave itself kept."""
        number, octaves = _simple(self.number)
        if octaves and number == 1:
            return Interval(self.quality, 8)
        return Interval(self.quality, number)

    @property
    def octaves(self) -> int:
        """Whole octaves above ``simple``."""
        return (self.number - self.simple.number) // 7

    @property
    def short(self) -> str:
        """Short name, such as ``P8``."""
        if self.quality == TRITONE:
            octaves = (self.number - 4) // 7
            return TRITONE if octaves == 0 else f"{TRITONE}+{1 + 7 * octaves}"
        return f"{self.quality}{self.number}"

    @property
    def name(self) -> str:
        """Name in words, such as ``perfect octave``."""
        if self.quality == TRITONE:
            octaves = (self.number - 4) // 7
            return (
                "tritone",
                "octave and a tritone",
                "two octaves and a tritone",
                "three octaves and a tritone",
            )[octaves]
        return f"{_QUALITY_WORDS[self.quality]} {_NUMBER_WORDS[self.number - 1]}"

    @property
    def everyday(self) -> str:
        """The name as said in a lesson: perfect intervals go without their quality."""
        return _NUMBER_WORDS[self.number - 1] if self.quality == "P" else self.name

    def __str__(self) -> str:
        return self.short


@lru_cache(maxsize=512)
def _semitones(quality: str, number: int) -> int:
    simple, octaves = _simple(number)
    size = _BASE_SEMITONES[simple] + 12 * octaves
    if quality == TRITONE:
        return size + 1
    if simple in _PERFECT:
        return size + {"P": 0, "A": 1, "AA": 2, "d": -1, "dd": -2}[quality]
    return size + {"M": 0, "m": -1, "A": 1, "AA": 2, "d": -2, "dd": -3}[quality]


def interval_between(low: Pitch, high: Pitch) -> Interval:
    """The interval from ``low`` up to ``high``, as spelled.

    Raises
    ------
    ValueError
        If ``high`` is written below ``low``, or the spelling is beyond doubly augmented.

    Examples
    --------
    >>> interval_between(Pitch.parse("Eb4"), Pitch.parse("C5")).name
    'major sixth'
    """
    number = high.diatonic - low.diatonic + 1
    if not 1 <= number <= MAX_NUMBER:
        raise ValueError(f"{low} to {high} is not an interval upwards within four octaves")
    semitones = high.midi - low.midi
    simple, octaves = _simple(number)
    excess = semitones - 12 * octaves - _BASE_SEMITONES[simple]
    table = (
        {0: "P", 1: "A", 2: "AA", -1: "d", -2: "dd"}
        if simple in _PERFECT
        else {0: "M", -1: "m", 1: "A", 2: "AA", -2: "d", -3: "dd"}
    )
    if excess not in table:
        raise ValueError(f"{low} to {high} is beyond doubly augmented or diminished")
    return Interval(table[excess], number)


@lru_cache(maxsize=256)
def interval_of_semitones(semitones: int) -> Interval:
    """The usual interval of a size in semitones, 0 to 48; 6, 18, 30 and 42 are tritones.

    >>> interval_of_semitones(16).name
    'major tenth'
    """
    if not 0 <= semitones <= MAX_SEMITONES:
        raise ValueError(f"{semitones} semitones is outside 0 to {MAX_SEMITONES}")
    octaves, rest = divmod(semitones, 12)
    if rest == 6:
        return Interval(TRITONE, 4 + 7 * octaves)
    quality, number = _USUAL[rest]
    return Interval(quality, number + 7 * octaves)

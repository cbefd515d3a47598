"""Spelled pitches and the arithmetic between pitch, MIDI number and frequency.

Conventions
-----------
* A pitch name is a letter, its accidentals and an octave: ``Bb3``, ``F#5``, ``C4`` (middle C).
  The octave number changes between B and C, and belongs to the letter: ``Cb4`` sounds as ``B3``.
* MIDI numbers: 60 is middle C, 69 is A4 (MIDI 1.0 specification).
* Frequencies in Hz; cents are positive upwards.

References
----------
* MIDI Tuning Standard: f = A4 * 2^((m - 69) / 12).
* Ellis, in Helmholtz, *On the Sensations of Tone*, 2nd English ed. 1885, App. XX:
  cents: ``theory.cents.in_cents(f2 / f1)``.
"""

import math
import re
from dataclasses import dataclass
from functools import lru_cache

from studio.theory import naming
from studio.theory.cents import in_cents

A4_MIDI = 69
A4_HZ = 440.0  # ISO 16:1975

STEPS = "CDEFGAB"
STEP_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
# Place of each natural on the line of fifths ... F C G D A E B ..., with C at 0.
STEP_FIFTHS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
MAX_ALTER = 2

_ACCIDENTALS = {"♭": "b", "♯": "#", "𝄫": "bb", "𝄪": "##", "♮": ""}
_NAME = re.compile(r"([A-Ga-g])(b{1,2}|#{1,2}|x)?(-?\d{1,2})")
_SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}


@dataclass(frozen=True, slots=True)
class Pitch:
    """A spelled pitch.

    Parameters
    ----------
    step : one of C D E F G A B
    alter : semitones added by the accidentals, -2 to 2
    octave : -1 to 9, the octave of the letter (4 starts at middle C)

    Raises
    ------
    ValueError
        If a part is outside those bounds.

    Examples
    --------
    >>> Pitch.parse("Bb4").midi
    70
    >>> str(Pitch("F", 1, 5)), Pitch("F", 1, 5).pretty
    ('F#5', 'F♯5')
    """

    step: str
    alter: int
    octave: int

    def __post_init__(self) -> None:
        if self.step not in STEP_SEMITONES:
            raise ValueError(f"step {self.step!r} is not a letter from A to G")
        if abs(self.alter) > MAX_ALTER:
            raise ValueError(f"alter {self.alter} is beyond a double accidental (-2 to 2)")
        if not -1 <= self.octave <= 9:
            raise ValueError(f"octave {self.octave} is outside -1 to 9")

    @classmethod
    def parse(cls, name: str) -> "Pitch":
        """The pitch of a name such as ``Bb4``, ``B♭4``, ``F##3`` or ``Fx3``."""
        return _parsed(name)

    @property
    def midi(self) -> int:
        """MIDI note number; 60 is middle C."""
        return 12 * (self.octave + 1) + STEP_SEMITONES[self.step] + self.alter

    @property
    def diatonic(self) -> int:
        """Steps above C0 on the staff, accidentals ignored."""
        return 7 * self.octave + STEPS.index(self.step)

    @property
    def fifths(self) -> int:
        """Place on the line of fifths: C is 0, G 1, F -1, B flat -2."""
        return STEP_FIFTHS[self.step] + 7 * self.alter

    @property
    def pitch_class_name(self) -> str:
        """The name without its octave: ``Bb``."""
        return self.step + _SIGNS[self.alter]

    @property
    def pretty(self) -> str:
        """The name as a reader has it, with the signs of print: ``B♭4``."""
        return f"{naming.note(self.step, self.alter)}{self.octave}"

    def frequency(self, a4_hz: float = A4_HZ) -> float:
        """Equal-tempered frequency in Hz."""
        return frequency_of_midi(self.midi, a4_hz)

    def __str__(self) -> str:
        return f"{self.pitch_class_name}{self.octave}"


@lru_cache(maxsize=1024)  # a page and a judgement name some forty pitches thousands of times
def _parsed(name: str) -> Pitch:
    text = name.strip()
    for sign, plain in _ACCIDENTALS.items():
        text = text.replace(sign, plain)
    found = _NAME.fullmatch(text)
    if not found:
        raise ValueError(
            f"{name!r} is not a pitch name; write a letter, an accidental if any, "
            "and an octave, such as Bb4"
        )
    letter, signs, octave = found.groups()
    alter = {"bb": -2, "b": -1, "#": 1, "##": 2, "x": 2}.get(signs or "", 0)
    return Pitch(letter.upper(), alter, int(octave))


def frequency_of_midi(midi: float, a4_hz: float = A4_HZ) -> float:
    """Equal-tempered frequency in Hz of a (possibly fractional) MIDI number.

    >>> round(frequency_of_midi(60), 3)
    261.626
    """
    return a4_hz * 2.0 ** ((midi - A4_MIDI) / 12.0)  # f = A4 * 2^((m - 69) / 12)


def midi_of_frequency(f0_hz: float, a4_hz: float = A4_HZ) -> float:
    """Fractional MIDI number of a frequency in Hz (> 0)."""
    if f0_hz <= 0 or a4_hz <= 0:
        raise ValueError(f"frequencies must be above 0 Hz, not {f0_hz} and {a4_hz}")
    return A4_MIDI + 12.0 * math.log2(f0_hz / a4_hz)


def cents_between(f1_hz: float, f2_hz: float) -> float:
    """Cents from ``f1_hz`` up to ``f2_hz``; both > 0.

    >>> round(cents_between(200, 300), 3)
    701.955
    """
    if f1_hz <= 0 or f2_hz <= 0:
        raise ValueError(f"frequencies must be above 0 Hz, not {f1_hz} and {f2_hz}")
    return float(in_cents(f2_hz / f1_hz))


@lru_cache(maxsize=4096)
def spellings(midi: int) -> tuple[Pitch, ...]:
    """Every spelling of a MIDI number with at most a double accidental, flattest first."""
    found = []
    for step, semitones in STEP_SEMITONES.items():
        for alter in range(-MAX_ALTER, MAX_ALTER + 1):
            octave, rest = divmod(midi - alter - semitones, 12)
            if rest == 0 and -1 <= octave - 1 <= 9:
                found.append(Pitch(step, alter, octave - 1))
    return tuple(sorted(found, key=lambda pitch: pitch.fifths))

"""Instruments: their open strings, string lengths, and the left hand in millimetres.

Conventions
-----------
* Strings are numbered as players do, 1 the highest; ``open_strings`` runs from low to high.
* A stop is measured from the nut, along a string of vibrating length L:
  a finger n semitones above the open string stops it at L * (1 - 2^(-n/12)) (equal-tempered
  semitones; a string's frequency is inversely proportional to its length).
* Lengths in millimetres.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from studio.theory.cents import RELATIVE_PER_CENT
from studio.theory.pitches import Pitch

STRING_LENGTH_MM_BOUNDS = (150.0, 450.0)
# Highest stop considered on a string, in semitones: two octaves, about the fingerboard's end.
MAX_STOP_SEMITONES = 24


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument: its name, open strings from low to high, usual string length in mm."""

    name: str
    open_strings: tuple[Pitch, ...]
    string_length_mm: float


def _pitches(names: str) -> tuple[Pitch, ...]:
    return tuple(Pitch.parse(name) for name in names.split())


# String lengths: common practice, no source. A viola has no standard size: ask.
VIOLIN = Instrument("violin", _pitches("G3 D4 A4 E5"), 328.0)
VIOLA = Instrument("viola", _pitches("C3 G3 D4 A4"), 370.0)
INSTRUMENTS = {instrument.name: instrument for instrument in (VIOLIN, VIOLA)}

# Usual string lengths of small violins in mm: common practice, no source, from memory; makers
# differ by a centimetre.
FRACTIONAL_VIOLIN_MM = {
    "4/4": 328.0,
    "7/8": 317.0,
    "3/4": 308.0,
    "1/2": 285.0,
    "1/4": 258.0,
    "1/8": 232.0,
    "1/16": 205.0,
}

# Usual string lengths of violas by the length of the body in inches, in mm: as above, less sure.
VIOLA_BODY_MM = {
    "12": 292.0,
    "13": 315.0,
    "14": 335.0,
    "15": 355.0,
    "15½": 363.0,
    "16": 370.0,
    "16½": 380.0,
}


def instrument_named(name: str) -> Instrument:
    """The instrument of that name; ``ValueError`` names the choices otherwise."""
    try:
        return INSTRUMENTS[name]
    except KeyError:
        raise ValueError(
            f"instrument {name!r} is not known; choose {' or '.join(INSTRUMENTS)}"
        ) from None


def require_string_length(string_length_mm: float) -> None:
    """Raise ``ValueError`` unless the length is a plausible one for a violin or viola."""
    low, high = STRING_LENGTH_MM_BOUNDS
    if not low <= string_length_mm <= high:
        raise ValueError(
            f"string length {string_length_mm} mm is outside {low:g} to {high:g} mm; "
            "a full-size violin has about 328"
        )


def stop_position_mm(semitones: float, string_length_mm: float) -> float:
    """Distance from the nut to the stop, in mm; ``semitones`` >= 0 above the open string.

    >>> round(stop_position_mm(12, 328), 1)
    164.0
    """
    if semitones < 0:
        raise ValueError(f"a stop {semitones} semitones from the open string is below it; use >= 0")
    return string_length_mm * (1.0 - 2.0 ** (-semitones / 12.0))


def cents_per_mm(semitones: float, string_length_mm: float) -> float:
    """Cents of pitch for one millimetre of the finger at that stop: 1200 / (ln 2 * L_left)."""
    left_mm = string_length_mm - stop_position_mm(semitones, string_length_mm)
    return 1.0 / (RELATIVE_PER_CENT * left_mm)


def mm_per_cent(semitones: float, string_length_mm: float) -> float:
    """Millimetres of finger for one cent of pitch at that stop."""
    return 1.0 / cents_per_mm(semitones, string_length_mm)


def span_mm(first: float, second: float, string_length_mm: float) -> float:
    """Distance along the string between two stops, in semitones above their open strings, in mm."""
    return abs(
        stop_position_mm(first, string_length_mm) - stop_position_mm(second, string_length_mm)
    )


def string_number(index: int, strings: Sequence[Pitch]) -> int:
    """The player's number of a string (1 the highest) from its place low to high."""
    return len(strings) - index


def places(
    midi: int, strings: Sequence[Pitch], max_semitones: int = MAX_STOP_SEMITONES
) -> list[tuple[int, int]]:
    """Where a note can be played: (string index low to high, semitones above it)."""
    stops = [(index, midi - string.midi) for index, string in enumerate(strings)]
    return [(index, stop) for index, stop in stops if 0 <= stop <= max_semitones]

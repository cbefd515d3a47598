"""Target sizes of intervals in the tunings the teacher can choose.

* ``just`` – beatless whole-number ratios. Ellis, in Helmholtz, *On the Sensations of Tone*,
  2nd English ed. 1885, App. XX. Held double stops are heard against these (Hall & Hess 1984,
  *Music Perception* 2(2), 166-195).
* ``pythagorean`` – a chain of pure fifths 3:2.
* ``equal`` – twelve equal semitones of 100 cents.

Some sizes have no agreed target: the minor sevenths 9/5 and 16/9 differ by 21.5 cents, the
augmented fourth 45/32 and the diminished fifth 64/45 by 19.6. Seconds, tritones, sevenths and
ninths therefore have a target only when they are spelled by what was written, or when the
teacher chose a size.
"""

import math
from functools import lru_cache

from studio.theory.cents import OCTAVE_CENTS, in_cents
from studio.theory.intervals import Interval

TUNINGS = ("just", "pythagorean", "equal")

# Ratio (upper, lower) of each interval up to the octave.
JUST_RATIOS: dict[str, tuple[int, int]] = {
    "P1": (1, 1),
    "m2": (16, 15),
    "M2": (9, 8),
    "A2": (75, 64),
    "m3": (6, 5),
    "M3": (5, 4),
    "P4": (4, 3),
    "A4": (45, 32),
    "d5": (64, 45),
    "P5": (3, 2),
    "A5": (25, 16),
    "m6": (8, 5),
    "M6": (5, 3),
    "d7": (128, 75),
    "m7": (9, 5),
    "M7": (15, 8),
    "P8": (2, 1),
}
# Consonances: everyone agrees on the beatless size.
_AGREED = {"P1", "m3", "M3", "P4", "P5", "m6", "M6", "P8"}
_PERFECT = {"P1", "P4", "P5", "P8"}


def require_tuning(tuning: str) -> None:
    """Raise ``ValueError`` unless ``tuning`` is one of ``TUNINGS``."""
    if tuning not in TUNINGS:
        raise ValueError(f"tuning {tuning!r} is not known; choose {', '.join(TUNINGS)}")


def cents_of_ratio(upper: float, lower: float) -> float:
    """Size in cents of the frequency ratio ``upper``/``lower``.

    >>> round(cents_of_ratio(5, 4), 3)
    386.314
    """
    return float(in_cents(upper / lower))


def just_ratio(interval: Interval) -> tuple[int, int] | None:
    """Just ratio (upper, lower) in lowest terms, octaves included; ``None`` if it has none."""
    ratio = JUST_RATIOS.get(interval.simple.short)
    if ratio is None:
        return None
    upper, lower = ratio[0] * 2**interval.octaves, ratio[1]
    divisor = math.gcd(upper, lower)
    return upper // divisor, lower // divisor


def has_agreed_target(interval: Interval) -> bool:
    """Whether its size is agreed without knowing how it is spelled: the consonances."""
    return interval.simple.short in _AGREED


def is_perfect(interval: Interval) -> bool:
    """Unison, fourth, fifth, octave and these with octaves added."""
    return interval.simple.short in _PERFECT


@lru_cache(maxsize=512)
def size_cents(interval: Interval, tuning: str) -> float | None:
    """Size in cents in a tuning, or ``None`` where the tuning has no size for it.

    Parameters
    ----------
    interval : an unspelled tritone has a size in equal temperament only
    tuning : just, pythagorean or equal

    Raises
    ------
    ValueError
        For an unknown tuning.

    Examples
    --------
    >>> round(size_cents(Interval("M", 6), "just"), 3)
    884.359
    >>> round(size_cents(Interval("M", 6), "pythagorean"), 3)
    905.865
    """
    require_tuning(tuning)
    if tuning == "equal":
        return 100.0 * interval.semitones
    if tuning == "just":
        ratio = just_ratio(interval)
        return None if ratio is None else cents_of_ratio(*ratio)
    fifths = interval.fifths
    if fifths is None:
        return None
    octaves = (interval.semitones - 7 * fifths) // 12
    return fifths * cents_of_ratio(3, 2) + OCTAVE_CENTS * octaves


def target_cents(interval: Interval, tuning: str, *, spelled: bool = False) -> float | None:
    """The size to judge against, or ``None`` where none is agreed.

    ``spelled`` says that a written note, not the ear, gave the interval its name; only then do
    seconds, tritones, sevenths and ninths have a target.
    """
    if not spelled and not has_agreed_target(interval):
        require_tuning(tuning)
        return None
    return size_cents(interval, tuning)


def beat_hz(low_hz: float, high_hz: float, interval: Interval) -> float | None:
    """Beats per second at the first coinciding partials: |p * f_low - q * f_high|.

    p:q is the just ratio of ``interval``; ``None`` for intervals without an agreed one, whose
    coinciding partials are too high to be heard beating.
    """
    if not has_agreed_target(interval):
        return None
    ratio = just_ratio(interval)
    if ratio is None:
        return None
    return abs(ratio[0] * low_hz - ratio[1] * high_hz)

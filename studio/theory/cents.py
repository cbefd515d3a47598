"""Cents and frequency ratios: the only place in which one becomes the other.

A cent is the 1200th part of an octave (Ellis, in Helmholtz, *On the Sensations of Tone*, 1885,
App. XX). Both functions take a number or a numpy array and give back the same.
"""

import math
from typing import Any

OCTAVE_CENTS = 1200.0
SEMITONE_CENTS = OCTAVE_CENTS / 12.0  # equal-tempered
RELATIVE_PER_CENT = math.log(2.0) / OCTAVE_CENTS  # of a frequency, to first order


def in_cents(ratio: Any) -> Any:
    """Size in cents of a frequency ratio > 0, wide positive.

    >>> round(in_cents(3 / 2), 3)
    701.955
    """
    if isinstance(ratio, int | float):
        return OCTAVE_CENTS * math.log2(ratio)
    import numpy as np  # an array came, so it is loaded: plain numbers do without it

    return OCTAVE_CENTS * np.log2(ratio)


def as_ratio(cents: Any) -> Any:
    """The frequency ratio of a size in cents.

    >>> round(as_ratio(701.955), 6)
    1.5
    """
    return 2.0 ** (cents / OCTAVE_CENTS)

"""Three ways to round, as whole counts of the last digit shown, and how such a count is written.

The language's own ``round`` and format go half to even and by the binary figure (2.675 to 2.67);
JavaScript's go otherwise again. These are the same in both.
"""

import math
from typing import TypeGuard

from .translation import _

# A figure this near to the next digit is that digit: 0.1 + 0.2 is no more than 0.3.
EDGE = 1e-6


def is_known(value: float | None) -> TypeGuard[float]:
    """Whether there is a finite figure to say."""
    return value is not None and math.isfinite(value)


def nearest(value: float, digits: int = 0) -> int:
    """Of the size, half away from zero: ``nearest(-18.5)`` is 19."""
    return math.floor(abs(value) * 10**digits + 0.5 + EDGE)


def upwards(value: float, digits: int = 0) -> int:
    """Of the size, never less than it is: ``upwards(1.4)`` is 2."""
    return math.ceil(abs(value) * 10**digits - EDGE)


def downwards(value: float, digits: int = 0) -> int:
    """Never more than it is; what is below 0 is 0: ``downwards(119.7)`` is 119."""
    return math.floor(max(value, 0.0) * 10**digits + EDGE)


def written(ticks: int, digits: int = 0) -> str:
    """A count of the last digit as a decimal: ``written(23, 1)`` is ``2.3``."""
    if not digits:
        return str(ticks)
    whole, part = divmod(ticks, 10**digits)
    return f"{whole}.{part:0{digits}d}"


def said(ticks: int, digits: int = 0) -> str:
    """The same for a reader, with the decimal sign of the language."""
    text = written(ticks, digits)
    return text.replace(".", _("."), 1) if digits else text


def decimal(value: float, digits: int = 3) -> str:
    """A number for a script or a form, nearest, with all its digits, a full stop and a plain minus.

    >>> decimal(12.0), decimal(-0.0004), decimal(2.6755)
    ('12.000', '0.000', '2.676')
    """
    ticks = nearest(value, digits)
    return f"{'-' if value < 0 and ticks else ''}{written(ticks, digits)}"

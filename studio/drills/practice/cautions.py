"""When a rest is proposed, and when the caution is shown and told. Pure.

That a hand needs rest before it is tired is common practice, no source; the lengths are a choice of
this project, no standard, and a teacher's or a clinician's word stands above them.
"""

from dataclasses import dataclass
from enum import StrEnum


class Reason(StrEnum):
    """Why a caution is shown."""

    LONG = "long"  # played on for long without a rest
    HURT = "hurt"


@dataclass(frozen=True, slots=True)
class Lengths:
    """Minutes without a rest: a rest is proposed at ``rest_after``; beyond ``long`` is too long."""

    rest_after: int
    long: int


GROWN_UP = Lengths(rest_after=30, long=60)  # chosen, not a standard
CHILD = Lengths(rest_after=20, long=40)  # chosen, shorter: a child notices later that she is tired
REST_MIN = 2  # chosen: the timer standing still for less is no rest, and a stretch goes on


def lengths_of(is_grown_up: bool | None) -> Lengths:
    """Whoever is not surely grown up is treated as a child.

    >>> lengths_of(None).rest_after
    20
    """
    return GROWN_UP if is_grown_up else CHILD


def reasons(unbroken_min: int | None, hurt: bool, lengths: Lengths) -> tuple[Reason, ...]:
    """Why there is to be a caution, the graver one first; none where there is nothing to say.

    >>> reasons(60, False, GROWN_UP), reasons(61, True, GROWN_UP)
    ((), (<Reason.HURT: 'hurt'>, <Reason.LONG: 'long'>))
    """
    found = (Reason.HURT,) if hurt else ()
    is_long = unbroken_min is not None and unbroken_min > lengths.long
    return (*found, Reason.LONG) if is_long else found

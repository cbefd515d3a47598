"""When a pupil counts as quiet: no clip for much longer than her own rhythm. Pure.

All lengths are in days and chosen by this project, no standard. It is said so that somebody asks
kindly; an illness, a holiday or an exam is no fault.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from statistics import median

LOOKED_BACK = 91  # a quarter of a year: a rhythm of long ago is no rhythm
FEWEST_DAYS = 4  # of fewer days with a clip no rhythm is known
TIMES = 2.0  # her own usual gap, so many times
AT_LEAST = 7  # a week without a clip is never quiet
WITHOUT_RHYTHM = 21


@dataclass(frozen=True, slots=True)
class Rhythm:
    """``usual`` is the middle of the gaps between days with clips, where it is known; ``since`` how
    long there was none; ``last`` the last day with one."""

    usual: float | None
    since: int
    last: date | None

    @property
    def is_quiet(self) -> bool:
        return self.since > self.allowed

    @property
    def allowed(self) -> float:
        """From how many days on it is said."""
        if self.usual is None:
            return WITHOUT_RHYTHM
        return max(AT_LEAST, TIMES * self.usual)


def rhythm_of(days: Iterable[date], began_on: date, today: date) -> Rhythm:
    """The rhythm of the days on which clips came; without any, counted from ``began_on``.

    >>> weekly = [date(2026, 3, day) for day in (2, 9, 16, 23)]
    >>> rhythm_of(weekly, date(2026, 1, 1), date(2026, 4, 7)).is_quiet
    True
    >>> rhythm_of(weekly, date(2026, 1, 1), date(2026, 4, 5)).is_quiet
    False
    """
    known = sorted(set(days))
    if not known:
        return Rhythm(None, (today - began_on).days, None)
    gaps = [(after - before).days for before, after in pairwise(known)]
    usual = median(gaps) if len(known) >= FEWEST_DAYS else None
    return Rhythm(usual, (today - known[-1]).days, known[-1])

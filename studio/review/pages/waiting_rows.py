"""A row of the waiting list: a review that waits, and how long it has."""

from dataclasses import dataclass
from datetime import timedelta

from django.utils.safestring import SafeString

from studio import figures
from studio.review.models import Review

from . import states

LONG_WAIT = timedelta(days=14)  # the line under a wait is full from here on


@dataclass(frozen=True, slots=True)
class Waiting:
    """One row: the review, where its clip is, and its wait as a part of a long wait (0 to 100)."""

    review: Review
    place: states.Whereabouts
    waited: timedelta
    mine: bool
    promised: timedelta
    arrange: SafeString | str = ""

    @property
    def percent(self) -> int:
        return min(100, max(2, figures.percent(self.waited / LONG_WAIT, 1)))

    @property
    def step(self) -> states.Step | None:
        """Where listening is; what is parked comes first, for the teacher waits for that."""
        steps = self.place.steps
        parked = (step for step in steps if step.parked)
        heard = (step for step in steps if step.kind in ("examining", "listening"))
        return next(parked, None) or next(heard, None)

    @property
    def late(self) -> str:
        """How the clip stands to the studio's promise, where that is worth saying."""
        return lateness(self.waited, self.promised)


def lateness(waited: timedelta, promised: timedelta) -> str:
    """``2 days late``, ``due today``; empty while there is more than a day left.

    >>> day = timedelta(days=1)
    >>> lateness(9.2 * day, 7 * day), lateness(6.5 * day, 7 * day), lateness(2 * day, 7 * day)
    ('2 days late', 'due within a day', '')
    """
    over = waited - promised
    if over >= timedelta(days=1):
        return f"{over.days} day{'s' if over.days > 1 else ''} late"
    if over >= timedelta(0):
        return "late"
    return "due within a day" if over > -timedelta(days=1) else ""

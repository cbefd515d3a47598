"""How a measure changed for each kind of double stop: like with like, and only what is sure.

Like is the same double stop on the same strings in the same drill and tuning; its level is taken
out (:mod:`.statistics.stratified_slope`). All that is asked for one page is one family of
questions (:mod:`.statistics.multiple_comparisons`): of a pupil who did not change, any change at
all is said in at most one page of twenty.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from .playings import Playings
from .recordings import Changed, changes_in, clip_medians
from .statistics.multiple_comparisons import holm
from .statistics.stratified_slope import Slope, fit
from .subjects import Subject, subjects_in

CLOSER, FURTHER, SAME, UNCLEAR, TOO_LITTLE = "closer", "further", "same", "unclear", "too_little"
LEVEL = 0.05  # of being wrong anywhere on a page: by convention
# Chosen: of a change that is surely smaller it is said that there is none. In cents and in dB.
SAME_WITHIN, SAME_BALANCE = 4.0, 1.5
LEAST = 0.5  # of what is shown in whole cents: less would read as a change by nothing
SURE = 2.0  # standard deviations: by definition of a normal law 95 % lie within
MOST_DOUBT_CENTS = 3.0  # chosen: a size of 6 c measured to 3 c reads larger by half a cent
FEWEST_SINGLES = 6  # of a clip, for its middle to be known: chosen


@dataclass(frozen=True, slots=True)
class Point:
    """A week, or some: the middle of what was played, how sure, and where a playing like it is.

    ``week`` is the first of ``weeks``; ``clip`` and ``at_s`` are of the playing nearest to it.
    """

    week: int
    value: float
    doubt: float | None
    playings: int
    clip: int
    at_s: float
    weeks: int = 1


@dataclass(frozen=True, slots=True)
class Trend:
    """The answer for one subject. ``change`` is signed, negative is nearer to the target."""

    subject: Subject
    outcome: str
    playings: int
    weeks: int
    since: int | None = None
    until: int | None = None
    change: float | None = None
    uncertainty: float | None = None
    slope: Slope | None = None
    places: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=int), repr=False)

    @property
    def line(self) -> tuple[float, float] | None:
        """The line's height in the first and the last week; ``None`` where none may be drawn."""
        if self.slope is None or self.outcome not in (CLOSER, FURTHER, SAME):
            return None
        return self.slope.at(self.slope.first), self.slope.at(self.slope.last)

    @property
    def line_doubts(self) -> tuple[float, float]:
        """One standard deviation of the line's height in those weeks, against its middle."""
        if self.slope is None:
            return 0.0, 0.0
        a_week = self.slope.change_uncertainty / self.slope.covered
        middle = self.slope.middle
        return a_week * (middle - self.slope.first), a_week * (self.slope.last - middle)


MEASURES = ("settled", "first", "landing", "steadiness", "balance")
_FIELDS = {"settled": "size", "first": "first", "landing": "landing", "steadiness": "moved"}


@dataclass(frozen=True, slots=True, eq=False)
class Answers:
    """All that is said on one page: an answer for every subject, and what was compared for it."""

    trends: tuple[Trend, ...]
    changed: tuple[Changed, ...]
    playings: Playings
    values: np.ndarray

    def points(self, trend: Trend, most: int) -> tuple[Point, ...]:
        """The weeks behind an answer; several to a point where they are more than ``most``."""
        return _points(self, trend, most)


def answers(playings: Playings, measure: str = "settled", by: str = "strings") -> Answers:
    """Everything that was played, all of it first, then by words with the most notes first.

    ``measure`` is one of ``MEASURES``, ``by`` one of :data:`.subjects.WAYS`.
    """
    changed = changes_in(playings, levels=measure == "balance")
    compared, values, like = _in_order(*_values(playings, measure, changed))
    same = SAME_BALANCE if measure == "balance" else SAME_WITHIN
    asked = [(subject, places) for subject, places in subjects_in(compared, by) if len(places)]
    slopes = [fit(values[p], compared.week[p], like[p]) for _, p in asked]
    sure = iter(holm(np.array([slope.p_value for slope in slopes if slope is not None])))
    found = tuple(
        _answer(compared, subject, places, slope, next(sure) if slope else 1.0, same)
        for (subject, places), slope in zip(asked, slopes, strict=True)
    )
    return Answers(found, tuple(changed), compared, values)


# -- what is compared ------------------------------------------------------------------------------


def _values(
    playings: Playings, measure: str, changed: Sequence[Changed]
) -> tuple[Playings, np.ndarray]:
    """The rows that can be compared, and the measure's size in each."""
    rows, doubles = playings.rows, playings.rows["high"] > 0
    known = rows["doubt"] <= MOST_DOUBT_CENTS  # NaN is not
    if measure == "balance":
        known = doubles & (playings.clip >= max((each.clip for each in changed), default=0))
        values = np.abs(rows["balance"]).astype(float)
    elif measure == "settled":
        values = np.where(doubles, rows["size"], _from_middle(playings)).astype(float)
    else:
        known &= doubles
        values = rows[_FIELDS[measure]].astype(float)
    told = known & np.isfinite(values)
    return playings.where(told), values[told]


def _from_middle(playings: Playings) -> np.ndarray:
    """How far each single note lies from its clip's middle: a shift of all changes nothing."""
    singles = playings.rows["high"] == 0
    clip, settled = playings.clip[singles], playings.rows["settled"][singles]
    clips = len(playings.clips)
    middle = clip_medians(settled, clip, clips)
    middle[np.bincount(clip, minlength=clips) < FEWEST_SINGLES] = np.nan
    return np.abs(playings.rows["settled"] - middle[playings.clip])


def _in_order(playings: Playings, values: np.ndarray) -> tuple[Playings, np.ndarray, np.ndarray]:
    """In the order of strata, then weeks; what is alike has one number."""
    rows = playings.rows
    numbers: dict[tuple[int, str], int] = {}
    setting = [
        numbers.setdefault((each.drill, each.tuning), len(numbers)) for each in playings.clips
    ]
    like = playings.of_clips(setting or [0]).astype(np.int64)
    for part in (rows["low"], rows["high"], rows["strings"][:, 0], rows["strings"][:, 1]):
        like = (like << 8) + part  # each is below 256
    # One number for both: far quicker to put in order than two.
    order = np.argsort(like * (playings.week.max(initial=0) + 1) + playings.week, kind="stable")
    return playings.where(order), values[order], like[order]


# -- the answer ------------------------------------------------------------------------------------


def _answer(
    playings: Playings,
    subject: Subject,
    places: np.ndarray,
    slope: Slope | None,
    p_value: float,
    same: float,
) -> Trend:
    """``p_value`` is the adjusted one; a change surely below ``same`` is none."""
    found = Trend(
        subject,
        TOO_LITTLE,
        int(np.sum(playings.rows["runs"][places])),
        int(np.count_nonzero(np.bincount(playings.week[places] - playings.week[places].min()))),
        places=places,
    )
    if slope is None:
        return found
    return replace(
        found,
        outcome=_outcome(slope, p_value, same),
        since=slope.first,
        until=slope.last,
        change=slope.change,
        uncertainty=slope.change_uncertainty,
        slope=slope,
    )


def _outcome(slope: Slope, p_value: float, same: float) -> str:
    by, doubt = slope.change, SURE * slope.change_uncertainty
    if p_value <= LEVEL and abs(by) > max(doubt, LEAST):
        return CLOSER if by < 0 else FURTHER
    return SAME if abs(by) + doubt <= same else UNCLEAR


def _points(answers: Answers, trend: Trend, most: int) -> tuple[Point, ...]:
    """Each point's mean; its standard deviation from how its clips differ, all points pooled."""
    playings, slope, places = answers.playings, trend.slope, trend.places
    if slope is not None:
        places, values, shares = places[slope.kept], slope.adjusted, slope.shares
    else:
        values, shares = answers.values[places], np.ones(len(places))
    if len(places) == 0:
        return ()
    begin, end = int(playings.week[places].min()), int(playings.week[places].max())
    together = (end - begin) // most + 1
    weeks, week = np.unique((playings.week[places] - begin) // together, return_inverse=True)
    clips, clip = np.unique(playings.clip[places], return_inverse=True)
    means = np.bincount(week, shares * values) / np.bincount(week, shares)
    by_clip = np.bincount(clip, shares * values) / np.bincount(clip, shares)
    clip_week = np.zeros(len(clips), dtype=int)
    clip_week[clip] = week
    free = len(clips) - len(weeks)
    spread = float(np.sqrt(np.sum((by_clip - means[clip_week]) ** 2) / free)) if free else None
    runs = np.bincount(week, playings.rows["runs"][places])
    doubts = 1.0 / np.sqrt(np.bincount(clip_week))
    nearest = places[_nearest(week, np.abs(values - means[week]))]
    return tuple(
        Point(
            week=begin + int(weeks[n]) * together,
            weeks=together,
            value=float(means[n]),
            doubt=None if spread is None else spread * float(doubts[n]),
            playings=int(runs[n]),
            clip=int(playings.clip[nearest[n]]),
            at_s=float(playings.rows["at_s"][nearest[n]]),
        )
        for n in range(len(weeks))
    )


def _nearest(week: np.ndarray, far: np.ndarray) -> np.ndarray:
    """Of each week the place of the value that lies least far."""
    order = np.argsort(week.astype(np.uint16), kind="stable")  # a radix sort, for few weeks
    week, far = week[order], far[order]
    begins = np.flatnonzero(np.diff(week, prepend=-1))
    least = np.minimum.reduceat(far, begins)
    least = np.flatnonzero(far == np.repeat(least, np.diff(begins, append=len(far))))
    return order[least[np.flatnonzero(np.diff(week[least], prepend=-1))]]

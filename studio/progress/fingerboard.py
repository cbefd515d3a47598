"""Where on the instrument a pupil plays sharp or flat, and how sure that is.

Each stopped note of a double stop whose string is known, by the drill's fingering or because there
is one place for it, has a place: an open string and semitones above it. Its figure is how sharp it
lies by itself (``off`` of :mod:`.playings`, which says against what). Asked is what holds now: the
last ``WEEKS`` before the latest clip.

A place's figure is Huber's mean (:mod:`.statistics.robust`) of its notes, and what counts as
independent is the week, as everywhere (:mod:`.statistics`): with residuals e and weights w,

    var = G / (G - 1) · Σ over weeks (Σ w e)² / (Σ w)²

(the cluster-robust variance of a mean; Cameron & Miller 2015), Student's t with the effective
number of weeks less one, 1 / Σ h² - 1, h a week's share of the weights. All places are one family
of questions (:func:`.statistics.multiple_comparisons.holm`).
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr, stdtrit

from .playings import Playings
from .recordings import clip_medians
from .statistics.multiple_comparisons import holm
from .statistics.robust import BEND, NORMAL

WEEKS = 16  # chosen: a hand changes within a term
FEWEST_WEEKS, FEWEST_NOTES = 3, 5  # of a place; chosen
LEVEL = 0.05  # of being wrong anywhere on the map: by convention
# Chosen: the same note of a key lies 8 c elsewhere in another tuning (Pythagorean, equal, just), so
# that less says nothing of the finger.
LEAST_CENTS = 8.0
MOST_DOUBT_CENTS = 3.0  # of a note's measurement: as in trends
LEAST_SPREAD_CENTS = 1.0  # chosen: weeks that agree to less do so by chance
SURE = 2.0
TWO_SIDED, Z_975 = 0.975, 1.959963984540054
STOPS = 64  # more than any string has semitones
SHARP, FLAT, IN_TUNE, UNCLEAR = "sharp", "flat", "in_tune", "unclear"


@dataclass(frozen=True, slots=True)
class Spot:
    """One place: ``off`` and ``doubt`` (one standard deviation) in cents, sharp positive.

    ``string`` is the open string's MIDI number, ``stop`` semitones above it; ``clip`` and ``at_s``
    are of the playing nearest to the figure. ``doubt`` is ``None`` where one week alone tells.
    """

    string: int
    stop: int
    outcome: str
    off: float
    doubt: float | None
    notes: int
    weeks: int
    clip: int
    at_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Notes:
    """Stopped and open notes one by one: of each its row, which of the two, and its figures.

    ``which`` is 0 for the lower note of its row, 1 for the higher one.
    """

    row: np.ndarray
    which: np.ndarray
    string: np.ndarray
    stop: np.ndarray
    off: np.ndarray


def recent(playings: Playings, weeks: int = WEEKS) -> Playings:
    """The last weeks up to the latest clip."""
    if not len(playings.week):
        return playings
    return playings.where(playings.week > playings.week.max() - weeks)


def notes_of(playings: Playings) -> Notes:
    """Every note whose place and height are known."""
    rows = playings.rows
    midis = np.stack([rows["low"], rows["high"]], axis=1).astype(np.int64)
    stops = rows["stops"].astype(np.int64)
    known = (stops >= 0) & np.isfinite(rows["off"]) & (rows["doubt"] <= MOST_DOUBT_CENTS)[:, None]
    row, which = np.nonzero(known)
    return Notes(
        row=row,
        which=which,
        string=(midis - stops)[row, which],
        stop=stops[row, which],
        off=rows["off"][row, which].astype(float),
    )


def spots_of(playings: Playings) -> tuple[Spot, ...]:
    """All places at which a finger was put, by string from low to high, then up the string."""
    now = recent(playings)
    notes = notes_of(now)
    stopped = np.flatnonzero(notes.stop > 0)
    if not len(stopped):
        return ()
    codes, place = np.unique((notes.string * STOPS + notes.stop)[stopped], return_inverse=True)
    row, off = notes.row[stopped], notes.off[stopped]
    count, week = len(codes), now.week[row] - now.week.min()
    figures = _figures_of(off, place, week, count)
    mean = figures.mean
    doubts, p_values = figures.doubts(), figures.p_values()
    nearest = row[_nearest(place, np.abs(off - mean[place]))]
    runs = np.bincount(place, now.rows["runs"][row], count)
    return tuple(
        Spot(
            string=int(codes[n]) // STOPS,
            stop=int(codes[n]) % STOPS,
            outcome=_outcome(float(mean[n]), doubts[n], int(figures.weeks[n]), float(p_values[n])),
            off=float(mean[n]),
            doubt=doubts[n],
            notes=int(runs[n]),
            weeks=int(figures.weeks[n]),
            clip=int(now.clip[nearest[n]]),
            at_s=float(now.rows["at_s"][nearest[n]]),
        )
        for n in range(count)
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Figures:
    """Of all places at once; ``error`` is before the factor for few weeks."""

    mean: np.ndarray
    weeks: np.ndarray
    notes: np.ndarray
    error: np.ndarray
    degrees: np.ndarray

    @property
    def _errors(self) -> np.ndarray:
        few = np.sqrt(self.weeks / np.maximum(self.weeks - 1, 1))
        return np.maximum(self.error * few, LEAST_SPREAD_CENTS / np.sqrt(self.weeks))

    def doubts(self) -> list[float | None]:
        """So that twice it is the half-width at 95 %; ``None`` where one week alone tells."""
        wide = self._errors * stdtrit(self.degrees, TWO_SIDED) / Z_975
        told = zip(self.weeks, wide, strict=True)
        return [float(doubt) if weeks > 1 else None for weeks, doubt in told]

    def p_values(self) -> np.ndarray:
        """Of nothing being off there, adjusted for all places; 1 where too little is known."""
        found = 2.0 * stdtr(self.degrees, -np.abs(self.mean) / self._errors)
        told = (self.weeks >= FEWEST_WEEKS) & (self.notes >= FEWEST_NOTES)
        return holm(np.where(told, found, 1.0))


def _figures_of(off: np.ndarray, place: np.ndarray, week: np.ndarray, count: int) -> _Figures:
    """Of ``count`` places; ``place`` and ``week`` count from 0."""
    middle = clip_medians(off, place, count)
    scale = NORMAL * clip_medians(np.abs(off - middle[place]), place, count)
    far = np.maximum(np.abs(off - middle[place]), 1e-300)
    share = np.where(scale[place] > 0.0, np.minimum(1.0, BEND * scale[place] / far), 1.0)
    held = np.bincount(place, share, count)
    mean = np.bincount(place, share * off, count) / held
    residuals = share * (off - mean[place])
    cells, shape = place * WEEKS + week, (count, WEEKS)
    weeks, sums, tries = (
        np.bincount(cells, each, count * WEEKS).reshape(shape) for each in (share, residuals, None)
    )
    return _Figures(
        mean=mean,
        weeks=np.count_nonzero(tries, axis=1),
        notes=np.sum(tries, axis=1).astype(int),
        error=np.sqrt(np.sum(sums**2, axis=1)) / held,
        degrees=np.maximum(1.0, 1.0 / np.sum((weeks / held[:, None]) ** 2, axis=1) - 1.0),
    )


def _nearest(place: np.ndarray, far: np.ndarray) -> np.ndarray:
    """Of each place its note that lies least far from the mean."""
    order = np.lexsort((far, place))
    return order[np.flatnonzero(np.diff(place[order], prepend=-1))]


def _outcome(off: float, doubt: float | None, weeks: int, p_value: float) -> str:
    if doubt is None or weeks < FEWEST_WEEKS:
        return UNCLEAR
    if p_value <= LEVEL and abs(off) >= LEAST_CENTS:
        return SHARP if off > 0 else FLAT
    return IN_TUNE if abs(off) + SURE * doubt <= LEAST_CENTS else UNCLEAR

"""A cause that explains where notes are sharp or flat, or that none is clear yet.

How sharp a note is (``off`` of :mod:`studio.progress.playings`) is taken for::

    clip + stopped + cause · z + place + week + playing

*clip* is the clip's own level, since its A4 is estimated; *stopped* what all fingers have in common
against open strings; *place* (string, stop, finger, position, shifted to or not) and *week* are
random, and what is left is the playing's. ``z`` says how much a cause moves a note:

* ``finger`` f: 1 where that finger stops it
* ``frame``: (finger - 1) / 3 of every stopped note: the hand is held too wide (+) or narrow (-)
* ``string`` s: 1 where a finger stops it on that string
* ``open_string`` s: 1 on that string, stopped or open: the string itself is out
* ``position`` p: 1 where a finger stops it in that position
* ``shift``: 1 where the hand has just moved along the string

Each is fitted alone, by least squares with Huber's weights after the clips' levels are taken out
(Frisch & Waugh 1933, "Partial time regressions as compared with individual trends", Econometrica
1(4), 387-401). A cause is named only where three things hold:

1. *It is no chance.* Its variance is that by weeks and that by places added up: the two-way
   clusters of Cameron, Gelbach & Miller 2011, "Robust inference with multiway clustering", Journal
   of Business & Economic Statistics 29(2), 238-249, without the part that is subtracted there,
   which errs towards caution. Student's t has the effective number of the fewer clusters,
   1 / Σ h² - 1; all causes asked about are one family (Holm 1979).
2. *It explains better than any other.* Residuals' means by place, r_j of n_j notes, have the
   likelihood of N(0, τ² + σ² / n_j) with τ² at its best, and each cause the Schwarz criterion
   BIC = -2 log L + log J; its share among all is exp(-BIC / 2) over the sum (Schwarz 1978,
   "Estimating the dimension of a model", Annals of Statistics 6(2), 461-464; Kass & Raftery 1995,
   "Bayes factors", Journal of the American Statistical Association 90, 773-795). Before looking,
   each *kind* of cause is held to be as likely as any other. Its share must be ``SURE_SHARE``.
3. *It matters*: ``LEAST_CENTS`` at least.

What the model takes for granted is that one cause stands out; where two are as strong, neither is
named. So it is with a string that was never heard open: whether it is out, or the fingers on it,
nothing tells.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp, stdtr, stdtrit

from studio.progress.fingerboard import notes_of, recent
from studio.progress.playings import Playings
from studio.progress.statistics.multiple_comparisons import holm
from studio.progress.statistics.robust import scale_about_nothing, weights

FINGER, FRAME, STRING, OPEN_STRING = "finger", "frame", "string", "open_string"
POSITION, SHIFT = "position", "shift"
KINDS = (FINGER, FRAME, STRING, OPEN_STRING, POSITION, SHIFT)
WEEKS = 12  # looked at: chosen, about a term
FEWEST_WEEKS, FEWEST_NOTES = 4, 120  # in all: chosen
FEWEST_TOUCHED = 20  # notes that a cause moves, and that it does not: chosen
FEWEST_PLACES = 3  # of either: chosen; what one place alone tells is no cause
LEVEL = 0.05  # of a chance hit among all causes: by convention
SURE_SHARE = 0.9  # chosen
LEAST_CENTS = 6.0  # chosen: less is within what tunings differ by
SPREADS = (
    np.linspace(0.0, 12.0, 25) ** 2 + 1e-6
)  # of places, in cents²: where the likelihood is looked at
TWO_SIDED, Z_975 = 0.975, 1.959963984540054


@dataclass(frozen=True, slots=True)
class Cause:
    """``which`` is the finger, the position, or the open string's MIDI number; 0 of the others.

    ``cents`` is how far notes are moved, sharp or wide positive, ``doubt`` one standard deviation,
    ``share`` how much more likely than all others it is, 0 to 1.
    """

    kind: str
    which: int
    cents: float
    doubt: float
    share: float
    notes: int


@dataclass(frozen=True, slots=True)
class Finding:
    """The cause, or ``None``: ``too_little`` where there is not enough to ask of."""

    cause: Cause | None
    too_little: bool
    notes: int
    weeks: int


def finding_of(playings: Playings) -> Finding:
    """What explains the last ``WEEKS`` weeks."""
    notes = _Notes.of(recent(playings, WEEKS))
    weeks = len(np.unique(notes.week))
    asked = _asked(notes) if len(notes.off) >= FEWEST_NOTES and weeks >= FEWEST_WEEKS else []
    if not asked:
        return Finding(None, True, len(notes.off), weeks)
    fits = _fitted(notes, np.stack([z for _, _, z in asked]))
    adjusted = holm(fits.p_values)
    shares = _shares(fits.bic, [kind for kind, _, _ in asked])
    best = int(np.argmax(shares))
    kind, which, z = asked[best]
    is_named = (
        adjusted[best] <= LEVEL
        and shares[best] >= SURE_SHARE
        and abs(fits.cents[best]) >= LEAST_CENTS
    )
    cause = Cause(
        kind=kind,
        which=which,
        cents=float(fits.cents[best]),
        doubt=float(fits.doubts[best]),
        share=float(shares[best]),
        notes=int(np.count_nonzero(z)),
    )
    return Finding(cause if is_named else None, False, len(notes.off), weeks)


@dataclass(frozen=True, slots=True, eq=False)
class _Notes:
    """Notes of known fingers, one by one; finger 0 is an open string."""

    off: np.ndarray
    clip: np.ndarray
    week: np.ndarray
    place: np.ndarray
    string: np.ndarray
    finger: np.ndarray
    position: np.ndarray
    shifted: np.ndarray

    @classmethod
    def of(cls, playings: Playings) -> "_Notes":
        found, rows = notes_of(playings), playings.rows
        finger = rows["fingers"][found.row, found.which].astype(np.int64)
        finger[found.stop == 0] = 0
        known = (finger > 0) | (found.stop == 0)
        row = found.row[known]
        position = rows["position"][row].astype(np.int64)
        parts = (found.string[known], found.stop[known], finger[known], position + 1)
        shifted = (rows["shifted"][row] == 1).astype(np.int64)
        place = np.zeros(len(row), dtype=np.int64)
        for part in (*parts, shifted):
            place = place * 128 + part
        return cls(
            off=found.off[known],
            clip=_numbered(playings.clip[row]),
            week=_numbered(playings.week[row]),
            place=_numbered(place),
            string=parts[0],
            finger=parts[2],
            position=position,
            shifted=shifted,
        )


def _numbered(values: np.ndarray) -> np.ndarray:
    return np.unique(values, return_inverse=True)[1]


def _asked(notes: _Notes) -> list[tuple[str, int, np.ndarray]]:
    """Every cause that the notes can tell from none, with how much it moves each of them."""
    stopped = notes.finger > 0
    strings = [int(each) for each in np.unique(notes.string)]
    positions = [int(each) for each in np.unique(notes.position) if each >= 0]
    found = [
        *((FINGER, n, notes.finger == n) for n in range(1, 5)),
        (FRAME, 0, np.where(stopped, (notes.finger - 1) / 3.0, 0.0)),
        *((STRING, n, stopped & (notes.string == n)) for n in strings),
        *((OPEN_STRING, n, notes.string == n) for n in strings),
        *((POSITION, n, stopped & (notes.position == n)) for n in positions),
        (SHIFT, 0, stopped & (notes.shifted == 1)),
    ]
    numbers = [(kind, which, z.astype(float)) for kind, which, z in found]
    return [each for each in numbers if _tells(notes, each[2])]


def _tells(notes: _Notes, z: np.ndarray) -> bool:
    for touched in (z > 0.0, z <= 0.0):
        if np.count_nonzero(touched) < FEWEST_TOUCHED:
            return False
        if len(np.unique(notes.place[touched])) < FEWEST_PLACES:
            return False
    return True


@dataclass(frozen=True, slots=True, eq=False)
class _Fits:
    """Of each cause alone."""

    cents: np.ndarray
    doubts: np.ndarray
    p_values: np.ndarray
    bic: np.ndarray


def _fitted(notes: _Notes, z: np.ndarray) -> _Fits:
    """``z`` has a row for each cause, a column for each note."""
    stopped = (notes.finger > 0).astype(float)
    level = _within(notes.off, notes.clip, np.ones(len(notes.off)))
    share = weights(level, scale_about_nothing(level))
    y = _within(notes.off, notes.clip, share)
    common = _within(stopped, notes.clip, share)
    moved = np.stack([_within(each, notes.clip, share) for each in z])
    if np.sum(share * common**2) > 0.0:  # else nothing but stopped notes, or open ones
        common = common / np.sqrt(np.sum(share * common**2))
        y = y - common * np.sum(share * common * y)
        moved = moved - np.outer(moved @ (share * common), common)
    mass = np.maximum(np.sum(share * moved**2, axis=1), 1e-9)
    cents = moved @ (share * y) / mass
    residuals = y - cents[:, None] * moved
    scores = share * moved * residuals
    by_week, by_place = (_by(each, scores) for each in (notes.week, notes.place))
    variance = (_spread(by_week) + _spread(by_place)) / mass**2
    held = share * moved**2 / mass[:, None]
    degrees = np.maximum(
        1.0,
        np.minimum(
            *(1.0 / np.sum(_by(each, held) ** 2, axis=1) for each in (notes.week, notes.place))
        )
        - 1.0,
    )
    errors = np.sqrt(np.maximum(variance, 1e-12))
    return _Fits(
        cents=cents,
        doubts=errors * stdtrit(degrees, TWO_SIDED) / Z_975,
        p_values=2.0 * stdtr(degrees, -np.abs(cents) / errors),
        bic=_criteria(residuals, share, notes.place),
    )


def _within(values: np.ndarray, group: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Values less their group's weighted mean."""
    means = np.bincount(group, share * values) / np.maximum(np.bincount(group, share), 1e-300)
    return values - means[group]


def _by(group: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Sums of each row by group."""
    return np.stack([np.bincount(group, each) for each in values])


def _spread(sums: np.ndarray) -> np.ndarray:
    count = sums.shape[1]
    return count / max(count - 1, 1) * np.sum(sums**2, axis=1)


def _criteria(residuals: np.ndarray, share: np.ndarray, place: np.ndarray) -> np.ndarray:
    """The Schwarz criterion of each cause, from what it leaves at the places."""
    many = np.bincount(place, share)
    means = _by(place, share * residuals) / many
    noise = np.sum(share * (residuals - means[:, place]) ** 2, axis=1)
    noise = noise / max(len(place) - len(many), 1)
    variance = SPREADS[:, None, None] + noise[None, :, None] / many
    likelihood = -0.5 * np.sum(np.log(variance) + means[None] ** 2 / variance, axis=2)
    return -2.0 * np.max(likelihood, axis=0) + np.log(len(many))


def _shares(bic: np.ndarray, kinds: list[str]) -> np.ndarray:
    """How likely each is among all, every kind as likely as any other before."""
    many = {kind: kinds.count(kind) for kind in kinds}
    prior = -np.log([len(many) * many[kind] for kind in kinds])
    logs = prior - 0.5 * bic
    return np.exp(logs - logsumexp(logs))

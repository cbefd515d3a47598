"""When a note begins and ends, and where one stretch is really several playings.

Conventions: times in seconds from the clip's start; levels in dB.

Method
------
Everything is read from the envelopes of a sounding's own partials. A note begins where
it comes within 12 dB of its held level. It ends at the knee where a level that was held begins
to fall along a straight line in dB, as the tail of a room does: the best of all two-piece lines
(least squares) through the last half second. A new bow stroke on the same notes shows as a dip
in all own partials together, deep against both sides and rising again fast (an onset detector on
pitch-specific energy; cf. Bello et al., *IEEE Trans. Speech and Audio Processing* 13(5), 2005).
Swells are slow, vibrato and beats move the partials one against another: neither dips like that.
"""

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import find_peaks

from studio.intonation.detection.envelopes import Strokes
from studio.intonation.percentiles import median, percentile

# Chosen on made clips and recorded notes. Edges are asked for within 50 ms.
ONSET_BELOW_DB = 12.0  # below the held level: where a note has begun
ONSET_SHARE = 0.35  # of the rise from the valley, at least: a valley may be shallower than that
REACHED_DB = 4.0  # below the held level: the note is there
HELD_FROM_S, HELD_TO_S = 0.08, 0.6  # after the onset: from where to where its level is held
TAIL_DB = 20.0  # of the fall after a note's end that is fitted; below lies the noise
RELEASE_S = 0.03  # from the knee, where the bow begins to lift, to the stroke's end
GONE_DB = 9.0  # under its usual level a note is over, whatever still rings
USUAL_PERCENTILE = 60  # of a note's levels: the usual one
BEFORE_KNEE_S, AFTER_KNEE_S = 0.30, 0.25  # of level around the last loud moment that is fitted
BEYOND_END_S = 0.15  # looked at after a coarse end: two steps of the path
FALL_DB_PER_S = 25.0  # a note's end falls faster; a slower fall is a diminuendo
RIPPLE_DB = 3.0  # a fall by less is no end
DIP_DB = 5.0  # a bow change in a room; deeper in dry sound
DIP_ALONE_DB = 7.5  # one voice has fewer partials, so its level is less steady
RISE_S = 0.12  # a new stroke is loud this soon
RISE_SHARE = 0.8  # of the dip's depth that it rises by so soon
DIP_WITHIN_S = 1.2  # a dip's sides are looked for within this span
SHORTEST_S = 0.12  # no playing is shorter
LOOK_BACK_S, LOOK_ON_S = 0.22, 0.30  # around a coarse onset, three and four steps of the path


def onset_s(db: np.ndarray, time_s: np.ndarray, about_s: float, end_s: float) -> float:
    """Return when a voice (levels ``db``) begins, near ``about_s``."""
    held = _held(db, time_s, about_s + HELD_FROM_S, min(end_s, about_s + HELD_TO_S))
    lo = int(np.searchsorted(time_s, about_s - LOOK_BACK_S))
    hi = max(lo + 1, int(np.searchsorted(time_s, min(about_s + LOOK_ON_S, end_s))))
    part = db[lo:hi]
    reached = np.flatnonzero(part >= held - REACHED_DB)
    if not len(reached):
        return about_s
    valley = int(np.argmin(part[: reached[-1] + 1]))
    after = np.flatnonzero(part[valley:] >= held - REACHED_DB)
    top = valley + (int(after[0]) if len(after) else 0)
    low = float(part[valley])
    threshold = max(held - ONSET_BELOW_DB, low + ONSET_SHARE * (held - low))
    below = np.flatnonzero(part[valley : top + 1] < threshold)
    at = valley + (int(below[-1]) + 1 if len(below) else 0)
    return float(time_s[min(lo + at, len(time_s) - 1)])


def offset_s(db: np.ndarray, time_s: np.ndarray, about_s: float, start_s: float) -> float:
    """Return when a voice ends, at or before about ``about_s``: the knee of its level."""
    lo = int(np.searchsorted(time_s, start_s))
    hi = max(lo + 1, int(np.searchsorted(time_s, about_s)))
    event = db[lo:hi]
    loud = np.flatnonzero(event >= percentile(event, USUAL_PERCENTILE) - GONE_DB)
    last = lo + int(loud[-1])
    hi = max(hi, int(np.searchsorted(time_s, about_s + BEYOND_END_S)))
    hi = last + int(np.argmin(db[last:hi])) + 1  # beyond the lowest point another note begins
    step = float(time_s[1] - time_s[0])
    first = max((lo + last) // 2, last - int(BEFORE_KNEE_S / step))  # clear of the attack
    part = db[first : min(hi, last + int(AFTER_KNEE_S / step))]
    low = np.flatnonzero(part < median(part[: max(1, len(part) // 3)]) - TAIL_DB)
    part = part[: int(low[0])] if len(low) else part
    knee_s = float(time_s[min(first + _knee(part, FALL_DB_PER_S * step), len(time_s) - 1)])
    return min(knee_s + RELEASE_S, float(time_s[hi - 1]))


def _knee(db: np.ndarray, least_fall_db: float) -> int:
    """Return where the best line "level, then falling" bends; the end if it never does."""
    n = len(db)
    if n < 8:
        return n - 1
    t = np.arange(n, dtype=float)
    fall = np.maximum(0.0, t[None, :] - t[2:-2, None])  # (knee, t)
    fall -= fall.mean(axis=1, keepdims=True)
    level = db - db.mean()
    along = fall @ level / (fall**2).sum(axis=1)
    along = np.where(along < -least_fall_db, along, 0.0)
    rest = (level**2).sum() - along**2 * (fall**2).sum(axis=1)
    best = int(np.argmin(rest))
    falls = along[best] * (n - 3 - best) < -RIPPLE_DB
    return best + 2 if falls else n - 1


def _held(db: np.ndarray, time_s: np.ndarray, start_s: float, end_s: float) -> float:
    lo = int(np.searchsorted(time_s, start_s))
    hi = int(np.searchsorted(time_s, end_s))
    lo = min(lo, len(db) - 1)
    return float(median(db[lo : max(lo + 1, hi)]))


def playings(level: Strokes, start_s: float, end_s: float, least_db: float = 0.0) -> list[float]:
    """Return the moments inside a span where the bow began again (s), none if it was one playing.

    The moment is the bottom of the dip: deep against both sides (its topographic prominence), and
    left again within ``RISE_S``. ``least_db`` asks for more depth than usual.
    """
    span = level.between(start_s, end_s)
    db, time_s = uniform_filter1d(level.db[span], 3), level.time_s[span]
    if len(db) < 20:
        return []
    step = float(time_s[1] - time_s[0])
    deep = max(least_db, DIP_DB if level.voices > 1 else DIP_ALONE_DB)
    bottoms, _ = find_peaks(-db, prominence=deep, wlen=int(DIP_WITHIN_S / step))
    found: list[int] = []
    loud = float(median(db)) - DIP_DB
    for at in bottoms:
        rise = int(RISE_S / step)
        ahead = db[at : at + int(DIP_WITHIN_S / step) // 2]
        quick = (ahead[rise:] - ahead[:-rise]).max() if len(ahead) > rise else 0.0
        if quick < RISE_SHARE * deep:
            continue
        if found and db[found[-1] : at].max() < loud:
            found[-1] = int(at)  # two bottoms of one pause
        else:
            found.append(int(at))
    times = [float(time_s[at]) for at in found]
    return [t for t in times if start_s + SHORTEST_S < t < end_s - SHORTEST_S]


def slope_db_per_s(db: np.ndarray, time_s: np.ndarray) -> float:
    """Return the least-squares slope of a level."""
    if len(db) < 4:
        return 0.0
    t = time_s - time_s.mean()
    return float((t * (db - db.mean())).sum() / (t * t).sum())

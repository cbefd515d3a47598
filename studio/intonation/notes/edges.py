"""When a note begins and ends, and where one stretch is really several playings.

Conventions: times in seconds from the clip's start; levels in dB.

Method
------
Everything is read from the envelopes of a sounding's own partials. A note begins where
it comes within 12 dB of its held level and ends where it last was within 5 dB of it: in a room
the tail goes on, but it leaves those 5 dB at once. A new bow stroke on the same notes shows as a dip
in all own partials together, deep against both sides and rising again fast (an onset detector on
pitch-specific energy; cf. Bello et al., *IEEE Trans. Speech and Audio Processing* 13(5), 2005).
Swells are slow, vibrato and beats move the partials one against another: neither dips like that.
"""

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import find_peaks

from studio.intonation.notes.envelopes import Envelopes

ONSET_BELOW_DB = 12.0
OFFSET_BELOW_DB = 5.0
DIP_DB = 4.0  # a bow change in a room; deeper in dry sound
DIP_ALONE_DB = 6.0  # one voice has fewer partials, so its level is less steady
FALL_S, RISE_S = 0.25, 0.12  # a dip's sides are looked for this far away
SHORTEST_S = 0.12  # no playing is shorter
LOOK_BACK_S, LOOK_ON_S = 0.22, 0.30


def onset_s(db: np.ndarray, time_s: np.ndarray, about_s: float, end_s: float) -> float:
    """Return when a voice (levels ``db``) begins, near ``about_s``."""
    held = _held(db, time_s, about_s + 0.08, min(end_s, about_s + 0.6))
    lo = int(np.searchsorted(time_s, about_s - LOOK_BACK_S))
    hi = max(lo + 1, int(np.searchsorted(time_s, min(about_s + LOOK_ON_S, end_s))))
    part = db[lo:hi]
    reached = np.flatnonzero(part >= held - 4.0)
    if not len(reached):
        return about_s
    valley = int(np.argmin(part[: reached[-1] + 1]))
    after = np.flatnonzero(part[valley:] >= held - 4.0)
    top = valley + (int(after[0]) if len(after) else 0)
    low = float(part[valley])
    threshold = max(held - ONSET_BELOW_DB, low + 0.35 * (held - low))
    below = np.flatnonzero(part[valley : top + 1] < threshold)
    at = valley + (int(below[-1]) + 1 if len(below) else 0)
    return float(time_s[min(lo + at, len(time_s) - 1)])


def offset_s(db: np.ndarray, time_s: np.ndarray, about_s: float, start_s: float) -> float:
    """Return when a voice ends, near ``about_s``: the last moment within 5 dB of its level."""
    held = _held(db, time_s, max(start_s, about_s - 0.6), about_s - 0.15)
    lo = int(np.searchsorted(time_s, max(start_s, about_s - 0.6)))
    hi = int(np.searchsorted(time_s, about_s + 0.15))
    loud = np.flatnonzero(db[lo:hi] >= held - OFFSET_BELOW_DB)
    return float(time_s[min(lo + int(loud[-1]), len(time_s) - 1)]) if len(loud) else about_s


def _held(db: np.ndarray, time_s: np.ndarray, start_s: float, end_s: float) -> float:
    lo = int(np.searchsorted(time_s, start_s))
    hi = int(np.searchsorted(time_s, end_s))
    lo = min(lo, len(db) - 1)
    return float(np.median(db[lo : max(lo + 1, hi)]))


def playings(env: Envelopes, start_s: float, end_s: float) -> list[float]:
    """Return the moments inside a span where the bow began again (s), none if it was one playing.

    The moment is the bottom of the dip.
    """
    span = env.between(start_s, end_s)
    db = uniform_filter1d(env.together[span], 3)
    if len(db) < 20:
        return []
    step = float(env.time_s[1] - env.time_s[0])
    bottoms, _ = find_peaks(-db, distance=max(1, int(SHORTEST_S / step)))
    found = []
    deep = DIP_DB if len(env.db) > 1 else DIP_ALONE_DB
    for at in bottoms:
        before = db[max(0, at - int(FALL_S / step)) : at]
        after = db[at : at + int(RISE_S / step)]
        if not len(before) or not len(after):
            continue
        if min(before.max(), after.max()) - db[at] >= deep:
            found.append(float(env.time_s[span][at]))
    return [t for t in found if start_s + SHORTEST_S < t < end_s - SHORTEST_S]


def slope_db_per_s(db: np.ndarray, time_s: np.ndarray) -> float:
    """Return the least-squares slope of a level."""
    if len(db) < 4:
        return 0.0
    t = time_s - time_s.mean()
    return float((t * (db - db.mean())).sum() / (t * t).sum())

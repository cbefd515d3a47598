"""The likeliest way through the score: the Viterbi algorithm over what was heard.

Viterbi 1967, *IEEE Transactions on Information Theory* 13(2), 260-269; in the log domain, so that
products of probabilities are sums of costs.
"""

from collections.abc import Sequence

import numpy as np

from studio.intonation.follow.expected import Expected
from studio.intonation.follow.habits import AFTER_PAUSE, Habits

PAUSE_S = 1.5


def likeliest_path(
    expected: Expected, fits: np.ndarray, extras: np.ndarray, gaps_s: Sequence[float]
) -> list[int | None]:
    """For each event the place of its note in the score, or ``None`` where it is extra.

    Parameters
    ----------
    expected : the score, n notes
    fits : np.ndarray, shape (t, n)
        Cost of each event standing for each note.
    extras : np.ndarray, shape (t,)
        Cost of each event being extra: one stays where one was.
    gaps_s : silence before each event, in seconds
    """
    usual, rested = Habits(expected), Habits(expected, AFTER_PAUSE)
    habits = [rested if gap > PAUSE_S else usual for gap in gaps_s]
    costs = np.full((len(fits) + 1, len(expected) + 1), np.inf)
    costs[0, 0] = 0.0
    for t, habit in enumerate(habits):
        after = costs[t + 1]
        np.add(costs[t], extras[t], out=after)
        reached = habit.step(costs[t])[1:] + fits[t]
        np.minimum(after[1:], reached, out=after[1:])
    return _back(costs, fits, extras, habits)


def _back(
    costs: np.ndarray, fits: np.ndarray, extras: np.ndarray, habits: Sequence[Habits]
) -> list[int | None]:
    """The path that led to the least cost, from its end."""
    into: dict[tuple[int, int], np.ndarray] = {}
    path: list[int | None] = []
    place = int(np.argmin(costs[-1]))
    for t in range(len(fits) - 1, -1, -1):
        stayed = costs[t, place] + extras[t]
        if place == 0:
            path.append(None)
            continue
        key = (place, id(habits[t]))
        if key not in into:
            into[key] = habits[t].into(place)
        came = costs[t] + into[key]
        best = int(np.argmin(came))
        if came[best] + fits[t, place - 1] <= stayed:
            path.append(place - 1)
            place = best
        else:
            path.append(None)
    return path[::-1]

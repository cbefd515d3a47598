"""The likeliest way through the score: the Viterbi algorithm over what was heard.

Viterbi 1967, *IEEE Transactions on Information Theory* 13(2), 260-269; in the log domain, so that
products of probabilities are sums of costs.
"""

from collections.abc import Sequence

import numpy as np

from studio.intonation.alignment.score import Expected
from studio.intonation.alignment.transition_costs import AFTER_PAUSE, Habits

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
    # Place 0 is before the first note, place k at note k; nothing that sounds stands for place 0.
    emissions = np.insert(fits, 0, np.inf, axis=1)
    costs = np.full((len(fits) + 1, len(expected) + 1), np.inf)
    costs[0, 0] = 0.0
    before = costs[0]
    for after, habit, fit, extra in zip(costs[1:], habits, emissions, extras, strict=True):
        reached = habit.step(before)
        reached += fit
        np.minimum(reached, before + extra, out=after)
        before = after
    return _back(costs, emissions, extras, habits)


def _back(
    costs: np.ndarray, emissions: np.ndarray, extras: np.ndarray, habits: Sequence[Habits]
) -> list[int | None]:
    """The path that led to the least cost, from its end."""
    into: dict[tuple[int, int], np.ndarray] = {}
    path: list[int | None] = []
    place = int(np.argmin(costs[-1]))
    for t in range(len(emissions) - 1, -1, -1):
        if costs[t, place] + extras[t] <= costs[t + 1, place] or place == 0:
            path.append(None)
            continue
        key = (place, id(habits[t]))
        if key not in into:
            into[key] = habits[t].into(place)
        path.append(place - 1)
        place = int(np.argmin(costs[t] + into[key]))
    return path[::-1]

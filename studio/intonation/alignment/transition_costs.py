"""How people go through a drill when they practise: what it costs to go from one note to another.

The follower is a hidden Markov model whose states are the notes of the score. A cost is a negative
natural logarithm of a probability, up to a constant: 0 for going on to the next note, 0.7 for what
happens half as often, 2.3 for a tenth. The figures are chosen from how practice goes (common
practice, no source) and were checked on simulated practice; what counts is their order:

=========  ====================================================================================
on         to the next note: free
again      the same note: cheap, since repeating until it is true is the method
skip       past notes; separate notes are often left out, and whole bars seldom
back       to an earlier note: rather to the beginning of a bar, rather near than far
anywhere   from any note to any other: rather to the beginning of the drill or of a bar
=========  ====================================================================================

After a pause, going back and going anywhere are likelier.

With n notes the step from one event to the next takes O(n): each habit is a running minimum, not a
table of n * n (the distance transform of Felzenszwalb & Huttenlocher 2004, *Efficient belief
propagation for early vision*, for linear costs). :meth:`Habits.into` says the same cost by cost; a
test holds both against each other.
"""

import numpy as np

from studio.intonation.alignment.score import Expected

AGAIN = 0.6
SKIP, SKIP_SEPARATE = 1.4, 0.5
BACK_TO_BAR, BACK_ELSEWHERE, BACK_EACH_NOTE = 1.8, 3.4, 0.1
TO_BEGINNING, TO_BAR, TO_ANYWHERE = 2.6, 3.6, 5.0
AFTER_PAUSE = 0.7  # of the cost of going back or anywhere


class Habits:
    """Costs of going from place to place; place 0 is before the first note, place k at note k.

    Parameters
    ----------
    expected : the score
    ease : factor on the cost of going back or anywhere: 1, or less after a pause
    """

    def __init__(self, expected: Expected, ease: float = 1.0) -> None:
        count = len(expected)
        starts = np.array([False, *expected.bar_start])
        separate = np.array([place is not None for place in expected.belongs_to])
        # _skipped[k] is the cost of skipping notes 1 to k - 1, so that k' > k costs the difference.
        self._skipped = np.zeros(count + 1)
        self._skipped[2:] = np.cumsum(np.where(separate, SKIP_SEPARATE, SKIP))[:-1]
        self._after = np.append(self._skipped[1:], 0.0)  # of skipping all up to and with k
        self._back = ease * np.where(starts, BACK_TO_BAR, BACK_ELSEWHERE)
        self._anywhere = ease * np.where(starts, TO_BAR, TO_ANYWHERE)
        self._anywhere[1] = ease * TO_BEGINNING
        self._back[0] = self._anywhere[0] = np.inf
        self._slope = BACK_EACH_NOTE * ease * np.arange(count + 1)
        self._back_less = self._back - self._slope
        self._again = np.full(count + 1, AGAIN)
        self._again[0] = np.inf
        self._on = self._skipped[1:].copy()

    def step(self, costs: np.ndarray) -> np.ndarray:
        """The least cost of reaching each place from wherever one was.

        Parameters
        ----------
        costs : np.ndarray, shape (n + 1,)
            The least cost of being at each place.

        Returns
        -------
        np.ndarray, shape (n + 1,)
            Infinite at place 0, to which nobody returns.
        """
        least = np.minimum
        reached = costs + self._again
        on = least.accumulate(costs - self._after)[:-1]
        on += self._on
        least(reached[1:], on, out=reached[1:])
        back = least.accumulate((costs + self._slope)[::-1])[::-1]
        back += self._back_less
        least(reached, back, out=reached)
        return least(reached, self._anywhere + least.reduce(costs), out=reached)

    def into(self, place: int) -> np.ndarray:
        """The cost of going to one place from each place: the definition behind :meth:`step`."""
        count = len(self._skipped)
        cost = np.full(count, self._anywhere[place])
        cost[:place] = np.minimum(cost[:place], self._skipped[place] - self._after[:place])
        back = self._back[place] + self._slope[place:] - self._slope[place]
        cost[place:] = np.minimum(cost[place:], back)
        cost[place] = min(cost[place], AGAIN)
        return cost

"""How people go through a drill when they practise: the follower's hidden Markov model.

States
------
The notes of the score (:class:`Expected`). A *separate* note is one voice of a double stop written
in the same bar, to be played by itself first: single notes right before a double stop of their bar
that are all among its pitches. What a score says of its notes (``manner``) does not decide it:
pages from elsewhere call every single note *alone*. Right after a double stop, only those are
that the score calls separate.

Transitions
-----------
What it costs to go from one note to another (:class:`Habits`). A cost is a negative
natural logarithm of a probability, up to a constant: 0 for going on to the next note, 0.7 for what
happens half as often, 2.3 for a tenth. The figures are chosen from how practice goes (common
practice, no source) and were checked on simulated practice; what counts is their order:

=========  ====================================================================================
on         to the next note: free
again      the same note: cheap, since repeating until it is true is the method
skip       past notes; separate notes are often left out, and whole bars seldom
back       to an earlier note: rather to the beginning of a bar, rather near than far
anywhere   from any note to any other: rather to the beginning of the drill or of a bar
leads      where the page leads, by a repeat or another ending: free
=========  ====================================================================================

After a pause, going back and going anywhere are likelier.

With n notes the step from one event to the next takes O(n): each habit is a running minimum, not a
table of n * n (the distance transform of Felzenszwalb & Huttenlocher 2004, *Efficient belief
propagation for early vision*, for linear costs). :meth:`Habits.into` says the same cost by cost; a
test holds both against each other.

The likeliest path
------------------
Viterbi 1967, *IEEE Transactions on Information Theory* 13(2), 260-269; in the log domain, so that
products of probabilities are sums of costs. What each event costs as each note (the emissions) is
:mod:`studio.intonation.alignment.emission_costs`.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from studio.intonation.model.score_following import ExpectedNote
from studio.theory import SEMITONE_CENTS, Pitch

# Chosen from how practice goes (common practice, no source), see above; costs, of which the order
# counts.
AGAIN = 0.6  # the same note
SKIP, SKIP_SEPARATE = 1.4, 0.5  # each note passed over; each separate one
BACK_TO_BAR, BACK_ELSEWHERE, BACK_EACH_NOTE = 1.8, 3.4, 0.1  # and on top for each note gone back
TO_BEGINNING, TO_BAR, TO_ANYWHERE = 2.6, 3.6, 5.0  # from any note to any other
AFTER_PAUSE = 0.7  # of the cost of going back or anywhere
PAUSE_S = 1.5  # of silence: longer than between two notes of slow practice


@lru_cache(maxsize=512)
def cents_of_name(name: str) -> float:
    """Cents above MIDI number 0 of a spelled pitch, equal-tempered.

    >>> cents_of_name("A4")
    6900.0
    """
    return SEMITONE_CENTS * Pitch.parse(name).midi


class Expected:
    """A score made ready to be followed.

    Attributes
    ----------
    cents : for each note its pitches from low to high, in cents above MIDI number 0
    bars : for each note the number of its bar; without bars, every note is one of its own
    bar_start : whether a note is the first of its bar
    belongs_to : for a separate note the place of its double stop, else ``None``
    apart : for each note, which of its voices are also written as separate notes
    """

    def __init__(self, score: Sequence[ExpectedNote]) -> None:
        self.notes = tuple(score)
        self.cents = [tuple(map(cents_of_name, note.pitches)) for note in self.notes]
        self.bars = [place if n.bar is None else n.bar for place, n in enumerate(self.notes)]
        self.bar_start = [
            place == 0 or self.bars[place - 1] != bar for place, bar in enumerate(self.bars)
        ]
        self.belongs_to = [self._double_stop_of(place) for place in range(len(self.notes))]
        self.apart = self._written_apart()
        self.leads = self._leads()

    def _leads(self) -> list[tuple[int, int]]:
        """Where the page leads from one note to another than the next: (from, to)."""
        at = {note.ref: place for place, note in enumerate(self.notes) if note.ref is not None}
        return [
            (place, at[ref])
            for place, note in enumerate(self.notes)
            for ref in note.leads_to
            if ref in at
        ]

    def __len__(self) -> int:
        return len(self.notes)

    def _double_stop_of(self, place: int) -> int | None:
        note = self.notes[place]
        if len(note.pitches) > 1:
            return None
        before = {self.cents[place][0]}
        for later in range(place + 1, len(self.notes)):
            if self.bars[later] != self.bars[place]:
                break
            if len(self.cents[later]) > 1:
                if before.issubset(self.cents[later]):
                    return later
                break
            before.add(self.cents[later][0])
        return self._double_stop_before(place) if note.manner == "separate" else None

    def _double_stop_before(self, place: int) -> int | None:
        after: set[float] = set()
        for earlier in range(place, -1, -1):
            if self.bars[earlier] != self.bars[place]:
                return None
            if len(self.cents[earlier]) > 1:
                return earlier if after.issubset(self.cents[earlier]) else None
            after.add(self.cents[earlier][0])
        return None

    def _written_apart(self) -> list[frozenset[int]]:
        """For each double stop, its voices that have a separate note of their own."""
        found: list[set[int]] = [set() for _ in self.notes]
        for place, together in enumerate(self.belongs_to):
            if together is not None:
                found[together].add(self.cents[together].index(self.cents[place][0]))
        return [frozenset(voices) for voices in found]


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
        leads = np.array(expected.leads, dtype=int).reshape(-1, 2) + 1
        self._leads_from, self._leads_to = leads[:, 0], leads[:, 1]
        # A step is many small sums: room for them, and views of it, are made once.
        self._sums, self._least = np.empty(count + 1), np.empty(count + 1)
        self._sums_down, self._least_down = self._sums[::-1], self._least[::-1]
        self._least_on = self._least[:-1]

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
        least, sums, found = np.minimum, self._sums, self._least
        reached = np.add(costs, self._again)
        np.subtract(costs, self._after, out=sums)
        least.accumulate(sums, out=found)
        np.add(self._least_on, self._on, out=self._least_on)
        least(reached[1:], self._least_on, out=reached[1:])
        np.add(costs, self._slope, out=sums)
        least.accumulate(self._sums_down, out=self._least_down)
        np.add(found, self._back_less, out=found)
        least(reached, found, out=reached)
        np.add(self._anywhere, least.reduce(costs), out=found)
        least(reached, found, out=reached)
        if len(self._leads_to):
            least.at(reached, self._leads_to, costs[self._leads_from])
        return reached

    def into(self, place: int) -> np.ndarray:
        """The cost of going to one place from each place: the definition behind :meth:`step`."""
        count = len(self._skipped)
        cost = np.full(count, self._anywhere[place])
        cost[:place] = np.minimum(cost[:place], self._skipped[place] - self._after[:place])
        back = self._back[place] + self._slope[place:] - self._slope[place]
        cost[place:] = np.minimum(cost[place:], back)
        cost[place] = min(cost[place], AGAIN)
        cost[self._leads_from[self._leads_to == place]] = 0.0
        return cost


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
    place = int(costs[-1].argmin())
    for t in range(len(emissions) - 1, -1, -1):
        before = costs[t]
        if before[place] + extras[t] <= costs[t + 1, place] or place == 0:
            path.append(None)
            continue
        key = (place, id(habits[t]))
        if key not in into:
            into[key] = habits[t].into(place)
        path.append(place - 1)
        place = int((before + into[key]).argmin())
    return path[::-1]

"""How well what was heard fits what was expected: the follower's emission costs.

Costs are negative natural logarithms of probabilities, up to a constant (see
:mod:`studio.intonation.alignment.hidden_markov_model`); pitches are cents above MIDI number 0 at
the clip's own reference. An event can stand for a note in one of three ways:

whole   all notes of the expected one; more than those where another string rings along
part    some of them: separately before together, one string not yet sounding, an octave or a
        unison heard as a single note
wrong   other notes in its place, near it

A doubtful event is tried in each of its readings. What fits nothing is *extra*: talk, tuning, a
chair. The less certain or the shorter an event, the likelier it is extra; two notes at once by
chance are rarer than one.
"""

from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

import numpy as np

from studio.intonation.alignment.hidden_markov_model import Expected
from studio.intonation.model.measurement import Event
from studio.intonation.model.runs import OCTAVE_DOUBT, cents_of
from studio.theory import OCTAVE_CENTS, SEMITONE_CENTS

# Chosen; checked on simulated practice (tests/benchmarks/follower.py). Costs are negative natural
# logarithms of probabilities, up to a constant; what counts is their order.
SPREAD_CENTS = 35.0  # standard deviation of a finger that is on its way to the right place
MATCH_CENTS = 80.0  # further off, a voice is another note
PART, PART_WRITTEN_APART = 0.8, 1.6  # a part, where it has no note of its own, and where it has one
PART_HIDDEN = 0.3  # the lower note of an octave or unison: the other may sound with it unheard
MORE = 3.5  # each voice beyond the expected ones
READING_IN_DOUBT, OTHER_READING = 0.2, 2.6  # of an event in doubt, and of one that is sure
# Another note in its place: at once, for each semitone, up to so many semitones.
WRONG, WRONG_EACH_SEMITONE, WRONG_SEMITONES = 2.3, 0.5, 4.0
# None of the drill's: at once, for each voice beyond the first, times this where it is short.
EXTRA, EXTRA_EACH_VOICE, EXTRA_SHORT = 3.4, 1.6, 0.6
EXTRA_UNSURE = 0.4  # share of that cost where an event may not have been heard at all
SHORT_S = 0.25  # a shorter event is rather talk, or a string touched
# One note after a rest is rather something tried out than a slip, which happens in the flow.
EXTRA_RESTED, RESTED_S = 0.8, 0.6
WHOLE, PART_OF, WRONG_FOR = "whole", "part", "wrong"
_IN_ORDER = (0, 1, 2, 3)  # the voices of a chord over four strings, from low to high


class Fit(NamedTuple):
    """How an event stands for a note. ``voices[v]`` is the expected pitch that the event's voice v
    is (its place from low to high), or ``None``; ``reading`` is 0 as heard, else an alternative."""

    how: str
    cost: float
    voices: tuple[int | None, ...]
    reading: int = 0


class Row(NamedTuple):
    """One reading of one event."""

    event: int
    cents: tuple[float, ...]
    cost: float = 0.0
    reading: int = 0


def readings_of(place: int, event: Event, a4_hz: float) -> list[Row]:
    """The event as heard, and its other readings."""
    rows = [Row(place, tuple([cents_of(voice.f0_hz, a4_hz) for voice in event.voices]))]
    sure = 0.0 if event.doubt == OCTAVE_DOUBT else max(0.0, 2.0 * event.confidence - 1.0)
    price = READING_IN_DOUBT + (OTHER_READING - READING_IN_DOUBT) * sure
    for number, other in enumerate(event.alternatives, start=1):
        if 1 <= len(other.f0_hz) <= 4:
            cents = tuple(sorted([cents_of(f0_hz, a4_hz) for f0_hz in other.f0_hz]))
            rows.append(Row(place, cents, price, number))
    return rows


@lru_cache(maxsize=64)
def pairings(voices: int, pitches: int) -> tuple[tuple[tuple[int, ...], tuple[int, ...]], ...]:
    """Every way to lay voices on pitches in order: (which voices, which pitches).

    >>> pairings(1, 2)
    (((0,), (0,)), ((0,), (1,)))
    """
    count = min(voices, pitches)
    return tuple(
        (some, those)
        for some in combinations(range(voices), count)
        for those in combinations(range(pitches), count)
    )


def extra_costs(events: Sequence[Event], gaps_s: Sequence[float]) -> np.ndarray:
    """The cost of each event being extra, shape (t,); ``gaps_s`` is the silence before each."""
    sure = np.array([event.confidence for event in events])
    short = np.array([event.end_s - event.start_s < SHORT_S for event in events])
    voices = np.array([len(event.voices) for event in events])
    tried = (np.array(gaps_s) > RESTED_S) & (voices == 1)
    cost = EXTRA + EXTRA_EACH_VOICE * (voices - 1)
    cost *= EXTRA_UNSURE + (1.0 - EXTRA_UNSURE) * sure
    cost *= np.where(short, EXTRA_SHORT, 1.0)
    return np.asarray(cost * np.where(tried, EXTRA_RESTED, 1.0))


def fit_costs(rows: Sequence[Row], expected: Expected) -> np.ndarray:
    """The least cost of each event standing for each note.

    Parameters
    ----------
    rows : the events' readings; those as heard first, in order
    expected : the score, n notes

    Returns
    -------
    np.ndarray, shape (t, n)
        Infinite where an event cannot stand for a note.
    """
    events = sum(row.reading == 0 for row in rows)
    kinds = sorted({_kind(expected, place) for place in range(len(expected))})
    at = {kind: number for number, kind in enumerate(kinds)}
    costs = np.full((events, len(kinds)), np.inf)
    alike: dict[tuple[int, int], list[Row]] = {}  # no event twice in one list
    for row in rows:
        alike.setdefault((row.reading, len(row.cents)), []).append(row)
    for mine in alike.values():
        heard = np.array([row.cents for row in mine])
        price = np.array([row.cost for row in mine])
        event = np.array([row.event for row in mine])
        for pitches in sorted({len(kind[0]) for kind in kinds}):
            those = [kind for kind in kinds if len(kind[0]) == pitches]
            where = np.ix_(event, np.array([at[kind] for kind in those]))
            costs[where] = np.minimum(costs[where], _block(heard, those) + price[:, None])
    return costs[:, [at[_kind(expected, place)] for place in range(len(expected))]]


Kind = tuple[tuple[float, ...], tuple[int, ...]]  # pitches in cents, voices written apart


def _kind(expected: Expected, place: int) -> Kind:
    """What tells a note from others for the ear: equal ones share their costs."""
    return expected.cents[place], tuple(sorted(expected.apart[place]))


def _block(heard: np.ndarray, kinds: Sequence[Kind]) -> np.ndarray:
    """Costs of readings with the same number of voices against notes with the same of pitches.

    ``heard`` has shape (m, voices); the result (m, len(kinds)).
    """
    written = np.array([kind[0] for kind in kinds])
    least = np.full((len(heard), len(kinds)), np.inf)
    for some, those in pairings(heard.shape[1], written.shape[1]):
        off = np.abs(heard[:, None, some] - written[None, :, those])
        right = 0.5 * np.sum(np.square(off / SPREAD_CENTS), axis=2)
        right[np.max(off, axis=2) > MATCH_CENTS] = np.inf
        price = np.array([_price(some, those, heard.shape[1], kind) for kind in kinds])
        wrong = _wrong(off) if heard.shape[1] <= written.shape[1] else np.inf
        np.minimum(least, np.minimum(right, wrong) + price, out=least)
    return least


def _wrong(off_cents: np.ndarray) -> np.ndarray:
    """Other notes in the place of the expected ones; the last axis runs over the voices."""
    away = np.minimum(off_cents / SEMITONE_CENTS, WRONG_SEMITONES)
    return np.asarray(WRONG + WRONG_EACH_SEMITONE * np.sum(away, axis=-1))


def _price(some: tuple[int, ...], those: tuple[int, ...], voices: int, kind: Kind) -> float:
    """What it costs that voices are missing, or that there are more."""
    pitches, apart = kind
    if voices > len(pitches):
        return MORE * (voices - len(pitches))
    if len(those) == len(pitches):
        return 0.0
    if len(pitches) == 2 and those == (0,) and pitches[1] - pitches[0] in (0.0, OCTAVE_CENTS):
        return PART_HIDDEN
    return PART_WRITTEN_APART if set(those) <= set(apart) else PART


def explain(rows: Sequence[Row], place: int, expected: Expected) -> Fit:
    """In which way the readings of one event stand for one note, at the least cost."""
    cents, pitches = rows[0].cents, expected.cents[place]
    if len(cents) == len(pitches):  # of most events, and then nothing else can cost less
        off = [abs(heard - pitch) for heard, pitch in zip(cents, pitches, strict=True)]
        cost = 0.5 * sum([(each / SPREAD_CENTS) ** 2 for each in off])
        others = min([row.cost for row in rows[1:]], default=np.inf)
        if max(off) <= MATCH_CENTS and cost < min(WRONG, others):
            return Fit(WHOLE, cost, _IN_ORDER[: len(cents)])
    kind = _kind(expected, place)
    return _explain(tuple((row.cents, row.cost, row.reading) for row in rows), kind)


def _explain(rows: tuple[tuple[tuple[float, ...], float, int], ...], kind: Kind) -> Fit:
    fits = [
        fit
        for cents, price, reading in rows
        for some, those in pairings(len(cents), len(kind[0]))
        for fit in _fits(cents, kind, some, those, price, reading)
    ]
    return min(fits, key=lambda fit: fit.cost)


def _fits(
    cents: tuple[float, ...],
    kind: Kind,
    some: tuple[int, ...],
    those: tuple[int, ...],
    price: float,
    reading: int,
) -> list[Fit]:
    """Right, if every voice is near its pitch; and wrong, if there are no voices too many."""
    pitches, _ = kind
    off = [abs(cents[v] - pitches[p]) for v, p in zip(some, those, strict=True)]
    price += _price(some, those, len(cents), kind)
    voices = tuple(those[some.index(v)] if v in some else None for v in range(len(cents)))
    found = []
    if max(off) <= MATCH_CENTS:
        how = WHOLE if len(those) == len(pitches) else PART_OF
        cost = 0.5 * sum((each / SPREAD_CENTS) ** 2 for each in off)
        found.append(Fit(how, cost + price, voices, reading))
    if len(cents) <= len(pitches):
        cost = WRONG + WRONG_EACH_SEMITONE * sum(
            min(o / SEMITONE_CENTS, WRONG_SEMITONES) for o in off
        )
        found.append(Fit(WRONG_FOR, cost + price, voices, reading))
    return found

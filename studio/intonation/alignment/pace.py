"""Where the pace of a piece gave way: against the player's own pace, not a metronome's.

Each step from one followed note to the next took so many seconds for so many written beats. The
logarithms of seconds a beat scatter about the player's usual pace; their middle is the median and
their spread the median absolute deviation, which a few halts do not move (Huber and Ronchetti,
*Robust Statistics*, 2nd ed., Wiley 2009, chapter 5).

*Stopped*: one step that alone took much longer. *Slower*: a stretch that a cumulative sum finds
(E. S. Page, "Continuous inspection schemes", Biometrika 41 (1954), 100-115): with the reference
value 1/2 and the decision interval 8 a steady player is called slower once in some 19,000 notes (D.
Siegmund, *Sequential Analysis*, Springer 1985, chapter 2: the run length's approximation), and what
is found must be slower by enough to be heard.

What the page leaves to the player (a fermata, rit., ad libitum) counts nowhere.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import median

# Fewer steps show no usual pace: chosen.
MIN_STEPS = 12
# Of the logarithm of seconds a beat. Onsets are found to some 30 ms, a fifteenth of a slow note:
# chosen. Above the other there is no pace to give way: chosen.
LEAST_SPREAD, MOST_SPREAD = 0.07, 0.30
# From the median absolute deviation to the standard deviation of a normal distribution: by
# definition.
TO_SIGMA = 1.4826
# In spreads: the cumulative sum's reference value and decision interval, chosen after Page (1954)
# and Siegmund (1985), and what one step may add to it: chosen.
REFERENCE, DECISION, CLIPPED = 0.5, 8.0, 4.0
# A stretch has so many steps at least, and even if the pace was underestimated it is below so much
# of the usual one: chosen.
MIN_STRETCH, HEARD_SHARE = 4, 0.85
# A stop: in spreads, in the logarithm (ln 1.6), and in seconds: chosen.
STOP_SPREADS, STOP_LOG, STOP_S = 3.5, 0.47, 0.6
# The normal distribution's 97.5 % point: by definition.
Z_95 = 1.96


@dataclass(frozen=True, slots=True)
class Step:
    """From the beginning of one followed note to that of the next.

    Parameters
    ----------
    note, next_note : their places in the score, from 0
    start_s, seconds : when the first began, and how long it was until the next; above 0
    beats : how long that is on the page, in quarter notes; above 0
    section : steps under one mark of tempo have the same
    """

    note: int
    next_note: int
    start_s: float
    seconds: float
    beats: float
    section: int = 0

    @property
    def log_pace(self) -> float:
        """Logarithm of seconds a quarter note."""
        return math.log(self.seconds / self.beats)


@dataclass(frozen=True, slots=True)
class GaveWay:
    """A place where the pace gave way.

    ``share`` is the pace there as a share of the usual one and ``doubt`` its half width at 95 %;
    ``extra_s`` is how much longer it took than at the usual pace. Of a stop there is no ``doubt``.
    """

    kind: str  # stopped or slower
    first_note: int
    last_note: int
    start_s: float
    end_s: float
    share: float
    extra_s: float
    doubt: float | None = None


def gave_way(steps: Sequence[Step]) -> tuple[GaveWay, ...]:
    """All places, in time; none where there are too few steps, or no steady pace to compare with.

    Pure.
    """
    found: list[GaveWay] = []
    for _section, mine in groupby(steps, lambda step: step.section):
        found += _of_section(list(mine))
    return tuple(sorted(found, key=lambda place: place.start_s))


def _of_section(steps: list[Step]) -> Iterator[GaveWay]:
    if len(steps) < MIN_STEPS:
        return
    logs = [step.log_pace for step in steps]
    usual = median(logs)
    spread = max(TO_SIGMA * median(abs(log - usual) for log in logs), LEAST_SPREAD)
    if spread > MOST_SPREAD:
        return
    going: list[Step] = []
    for step in steps:
        if _is_stop(step, usual, spread):
            yield _stopped(step, usual)
        else:
            going.append(step)
    for first, last in _stretches([(step.log_pace - usual) / spread for step in going]):
        slower = _slower(going[first : last + 1], usual)
        if slower is not None:
            yield slower


def _is_stop(step: Step, usual: float, spread: float) -> bool:
    above = step.log_pace - usual
    return above > max(STOP_LOG, STOP_SPREADS * spread) and _extra_s(step, usual) >= STOP_S


def _extra_s(step: Step, usual: float) -> float:
    return step.seconds - step.beats * math.exp(usual)


def _stopped(step: Step, usual: float) -> GaveWay:
    return GaveWay(
        "stopped",
        step.note,
        step.next_note,
        step.start_s,
        step.start_s + step.seconds,
        math.exp(usual - step.log_pace),
        _extra_s(step, usual),
    )


def _stretches(scores: Sequence[float]) -> Iterator[tuple[int, int]]:
    """First and last place of each stretch in which the sum rises past the decision interval."""
    begin = 0
    while begin < len(scores):
        total, first, top, last = 0.0, begin, 0.0, begin
        for place in range(begin, len(scores)):
            total += min(scores[place], CLIPPED) - REFERENCE
            if total <= 0 or (top >= DECISION and total < top - DECISION):
                if top >= DECISION:
                    break
                total, top, first = 0.0, 0.0, place + 1
            elif total > top:
                top, last = total, place
        if top < DECISION:
            return
        first, last = _sharpened(scores[begin:], first - begin, last - begin, begin)
        yield first, last
        begin = last + 1


def _sharpened(scores: Sequence[float], first: int, last: int, begin: int) -> tuple[int, int]:
    """The same stretch with the reference value that tells its own shift best: half of it (Page).

    Searched from where the last stretch ended to half as far again as it goes; ``begin`` is added.
    """
    half_shift = sum(scores[first : last + 1]) / (last + 1 - first) / 2
    until = last + 1 + (last + 1 - first) // 2
    best, found, total, start = 0.0, (first, last), 0.0, 0
    for place, score in enumerate(scores[:until]):
        total += score - half_shift
        if total <= 0:
            total, start = 0.0, place + 1
        elif total > best:
            best, found = total, (start, place)
    return found[0] + begin, found[1] + begin


def _slower(steps: Sequence[Step], usual: float) -> GaveWay | None:
    if len(steps) < MIN_STRETCH:
        return None
    above = [step.log_pace - usual for step in steps]
    mean = sum(above) / len(above)
    variance = sum((one - mean) ** 2 for one in above) / (len(above) - 1)
    share = math.exp(-mean)
    doubt = Z_95 * share * max(math.sqrt(variance), LEAST_SPREAD) / math.sqrt(len(above))
    if share + doubt > HEARD_SHARE:
        return None
    return GaveWay(
        "slower",
        steps[0].note,
        steps[-1].next_note,
        steps[0].start_s,
        steps[-1].start_s + steps[-1].seconds,
        share,
        sum(_extra_s(step, usual) for step in steps),
        doubt,
    )

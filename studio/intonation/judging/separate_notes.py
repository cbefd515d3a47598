"""Separately against together: whether a note moved when the other one came to it.

A pupil plays the two notes of a double stop one after the other, then both. Setting the second
finger often drags the first, and neither ear nor eye of the pupil may notice. Each note of a
playing is held against the same note played separately just before it, in the same run, settled
pitch against settled pitch: no reference and no tuning is needed.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from studio.intonation.model.runs import DOUBTFUL_CONFIDENCE, SAME_NOTE_CENTS, Played
from studio.intonation.model.thresholds import SURE

MOVED_CENTS = 8.0  # less is within what a steady finger does from bow to bow; chosen
SETTLED_S = 0.3  # a shorter note has no settled part
SAME_VISIT_S = 20.0  # played alone longer ago, the hand has been elsewhere since; chosen


@dataclass(slots=True)
class Moved:
    """One note of a playing against itself alone; cents, higher together is positive.

    ``alone_cents`` are above MIDI number 0 at the clip's reference; ``first`` says that this note
    was already there when the other one was played.
    """

    which: str
    cents: float
    uncertainty_cents: float
    alone_cents: float
    first: bool = False

    @property
    def is_sure(self) -> bool:
        """Further than a steady finger goes, and than the measurement may err."""
        return abs(self.cents) > max(MOVED_CENTS, SURE * self.uncertainty_cents)


Compared = tuple[Moved | None, Moved | None]  # the lower and the upper note
NOT_COMPARED: Compared = (None, None)


def compared(playing: Played, broken: Sequence[Played], since_s: float = 0.0) -> Compared:
    """The lower and the upper note of a double stop against those played alone before it.

    Parameters
    ----------
    playing : a double stop
    broken : the run's separate notes, in time
    since_s : notes that began before this moment, in s, do not count

    Returns
    -------
    (Moved or None, Moved or None)
        ``None`` where a note was not played alone, or not measured well enough. Both for a unison,
        whose two notes cannot be told apart in turn.
    """
    until_s = playing.event.start_s
    since_s = max(since_s, until_s - SAME_VISIT_S)
    before = [
        item for item in broken if since_s <= item.event.start_s < until_s and _is_settled(item)
    ]
    low, high = playing.cents[0], playing.cents[-1]
    if not before or len(playing.event.voices) != 2 or high - low < 2.0 * SAME_NOTE_CENTS:
        return NOT_COMPARED
    last = [_last_near(before, cents) for cents in (low, high)]
    lower, upper = last
    if lower is not None and upper is not None:
        lower_first = lower.event.start_s < upper.event.start_s
        firsts = (lower_first, not lower_first)
    else:
        firsts = (lower is not None, upper is not None)
    return (
        _moved("lower", playing, 0, lower, firsts[0]),
        _moved("upper", playing, 1, upper, firsts[1]),
    )


def _is_settled(item: Played) -> bool:
    event = item.event
    return (
        len(event.voices) == 1
        and event.doubt is None
        and event.confidence >= DOUBTFUL_CONFIDENCE
        and event.end_s - event.start_s >= SETTLED_S
    )


def _last_near(items: Sequence[Played], cents: float) -> Played | None:
    for item in reversed(items):
        if abs(item.cents[0] - cents) <= SAME_NOTE_CENTS:
            return item
    return None


def _moved(
    which: str, playing: Played, voice: int, alone: Played | None, first: bool
) -> Moved | None:
    if alone is None:
        return None
    doubts = (
        alone.event.voices[0].uncertainty_cents,
        playing.event.voices[voice].uncertainty_cents,
    )
    if doubts[0] is None or doubts[1] is None:
        return None
    doubt = (doubts[0] ** 2 + doubts[1] ** 2) ** 0.5
    return Moved(which, playing.cents[voice] - alone.cents[0], doubt, alone.cents[0], first)

"""What is said of a run beside its mark: facts of the practising, none of them a fault by itself.

* ``run_changed`` - better, the same or worse from the first playing to the last, and by how much.
* ``note_moved`` - a note that stood elsewhere when it was played separately.
* ``hold_short`` - the last playing was too short to be heard well.
* ``voice_dropout`` - one of the two notes was silent for a while.
* ``balance`` - one of the two notes was much softer.

The last two become marks only where the drill says that both notes are held, and only where they
are certain (:mod:`studio.intonation.judging.marks`): where one voice carries the tune, the other
may be touched lightly (common practice, no source).
"""

from bisect import bisect_left
from dataclasses import dataclass
from typing import Any

from studio.intonation.judging.attribution import NOT_COMPARED, Compared, Hand, Hands, Moved
from studio.intonation.judging.interval_naming import Named
from studio.intonation.model.judgement import Remark, Run
from studio.intonation.model.measurement import Event
from studio.intonation.model.runs import RunOfPlayings

# Chosen, where a line says no more.
# Long enough for one slow beat to be heard: an octave 4 cents off on B flat 3 beats about once a
# second. The drill's own minimum goes before it.
LEAST_HOLD_S = 1.0
HOLD_LEEWAY_S = 0.05  # how well an event's ends are known
DROPOUT_S = 0.15  # a shorter gap is a bow that grips anew
# One note alone between two playings is the same bow going on, where it begins while the room still
# rings and ends as the other note comes back. Longer alone, it is played separately.
RINGING_S, TOUCHING_S, RESTED_S = 0.2, 0.06, 0.8
BALANCE_DB = 18.0  # strings, bows and phones differ by several dB
# One standard deviation of a difference of two levels: 5.3 dB over 317 double stops of recorded
# notes at known levels, each note with its own bow and its own string.
LEVEL_DOUBT_DB = 5.5
SHARED_SEMITONES = 12  # an octave's notes share partials: their levels cannot be told apart well


@dataclass(slots=True)
class Playing:
    """A double stop as remarks see it: its event, its name and its notes against themselves."""

    event: Event
    named: Named
    hands: Hands
    moved: Compared = NOT_COMPARED

    def string(self, place: int) -> str | None:
        """Letter of the string that the drill writes for its lower (0) or upper (1) note."""
        hand = self.hands[place]
        return hand.string if hand is not None else None


def run_changed(run: Run, last: Event, last_uncertainty_cents: float | None) -> Remark:
    """How a run went from its first measured playing to ``last``, its last one."""
    params = {
        "interval": run.short,
        "playings": len(run.playings),
        "first_cents": run.first_cents,
        "deviation_cents": run.last_cents,
        "uncertainty_cents": last_uncertainty_cents,
        "change_cents": run.change_cents,
        "change_uncertainty_cents": run.change_uncertainty_cents,
        "trend": run.trend,
    }
    return Remark("run_changed", last.id, params)


def note_moved(playing: Playing) -> list[Remark]:
    """A remark for each note that moved for certain, other than a written open string."""
    sure = [moved if moved is not None and moved.is_sure else None for moved in playing.moved]
    if sure == [None, None]:
        return []
    hands = playing.hands
    found = []
    for place, moved in enumerate(sure):
        hand, other = hands[place], hands[1 - place]
        if moved is None or (hand is not None and hand.finger == 0):
            continue
        found.append(_moved(moved, playing, hand, other))
    return found


def _moved(moved: Moved, playing: Playing, hand: Hand | None, other: Hand | None) -> Remark:
    named = playing.named
    params: dict[str, Any] = {
        "which": moved.which,
        "note": str(named.low if moved.which == "lower" else named.high),
        "moved_cents": moved.cents,
        "uncertainty_cents": moved.uncertainty_cents,
        "first": moved.first,
    }
    if hand is not None:
        params |= {"finger": hand.finger, "string": hand.string}
        params |= {"other_finger": other.finger if other is not None else None}
    return Remark("note_moved", playing.event.id, params)


def hold_short(run: Run, playing: Playing) -> Remark | None:
    """A last playing shorter than the run's least hold."""
    held_s, least_s = run.held_s, run.least_hold_s
    if held_s is None or least_s is None or held_s >= least_s - HOLD_LEEWAY_S:
        return None
    expected = playing.named.expected
    asked = expected is not None and expected.hold_s is not None
    params = {"held_s": held_s, "least_hold_s": least_s, "asked": asked}
    return Remark("hold_short", playing.event.id, params)


def least_hold_s(named: Named | None) -> float:
    """The drill's minimum, else this project's, in seconds."""
    asked = named.expected.hold_s if named is not None and named.expected is not None else None
    return LEAST_HOLD_S if asked is None else asked


def is_held_together(named: Named) -> bool:
    """Whether the drill says that both notes are held."""
    return named.expected is not None and named.expected.manner == "together"


def dropouts(playing: Playing) -> list[Remark]:
    """A remark for each note that was silent for ``DROPOUT_S`` or more in all, inside a playing."""
    found = []
    for place, voice in enumerate(playing.event.voices[:2]):
        spans = [(a, b) for a, b in voice.dropouts if b - a >= DROPOUT_S]
        if not spans:
            continue
        params = {
            "which": ("lower", "upper")[place],
            "times": len(spans),
            "silent_s": sum(b - a for a, b in spans),
            "at_s": spans[0][0],
            "until_s": spans[-1][1],
            "held": is_held_together(playing.named),
            "string": playing.string(place),
        }
        found.append(Remark("voice_dropout", playing.event.id, params))
    return found


def rested(group: RunOfPlayings) -> list[Remark]:
    """A remark for each time one note of a playing went on alone for a moment, without a break.

    Such a moment is heard as a playing, a single note and a playing again. Whether the bow slipped
    or the finger was lifted on purpose is not known: it is said, and never marked.
    """
    found = []
    first_s = group.playings[0].event.start_s
    for alone in group.broken:
        start_s, end_s = alone.event.start_s, alone.event.end_s
        if start_s <= first_s:
            continue
        place = bisect_left(group.playings, start_s, key=lambda item: item.event.start_s)
        if place == len(group.playings):
            continue
        first, second = group.playings[place - 1], group.playings[place]
        if len(first.cents) != 2:
            continue
        silent_s = second.event.start_s - first.event.end_s
        touches = start_s - first.event.end_s <= RINGING_S
        if not (touches and second.event.start_s - end_s <= TOUCHING_S and silent_s <= RESTED_S):
            continue
        low, high = first.cents
        which = "upper" if abs(alone.cents[0] - low) < abs(alone.cents[0] - high) else "lower"
        params = {
            "which": which,
            "times": 1,
            "silent_s": silent_s,
            "at_s": first.event.end_s,
            "until_s": second.event.start_s,
            "held": False,
        }
        found.append(Remark("voice_dropout", second.event.id, params))
    return found


def balance_db(playing: Playing) -> float | None:
    """Level of the upper note over the lower one in dB; ``None`` where it cannot be told."""
    if playing.named.interval.semitones % SHARED_SEMITONES == 0:
        return None
    levels = [voice.level_db for voice in playing.event.voices]
    if len(levels) != 2 or levels[0] is None or levels[1] is None:
        return None
    return levels[1] - levels[0]


def balance(playing: Playing) -> Remark | None:
    """A remark where one note was softer than the other by more than ``BALANCE_DB``."""
    difference = balance_db(playing)
    if difference is None or abs(difference) <= BALANCE_DB:
        return None
    softer = 0 if difference > 0 else 1
    params = {
        "which": ("lower", "upper")[softer],
        "balance_db": abs(difference),
        "uncertainty_db": LEVEL_DOUBT_DB,
        "held": is_held_together(playing.named),
        "string": playing.string(softer),
    }
    return Remark("balance", playing.event.id, params)

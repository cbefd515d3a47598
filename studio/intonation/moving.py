"""Which of two notes has to move.

What can tell, the strongest first:

1. *open*: an open string cannot move, so the stopped note must. The sound alone seldom tells
   whether a note is open; it is taken for open only where it can be played in no other way, or the
   drill's fingering says so.
2. *slipped*: played separately the two notes agreed; together one of them stands elsewhere, by
   what the interval is off. That one moved.
3. *alone*: one note, played separately, was at the clip's own pitch, and it stayed there.
4. *tuning*: one note agrees with the tuning of the whole clip and the other is off by what the
   interval is off. In thirds, sixths and tenths only where the two are far enough apart that no
   just or tempered reading of them agrees.

The last three are advice. Otherwise either note may move.
"""

from dataclasses import dataclass

from studio.intonation.hands import hands_of
from studio.intonation.judgement import JudgedInterval
from studio.intonation.measurement import Event, Measurement, Reference, Voice
from studio.intonation.naming import Named
from studio.intonation.runs import cents_of
from studio.intonation.separate import NOT_COMPARED, Compared, Moved
from studio.theory import Pitch, is_perfect, openness

ANCHOR_CENTS = 6.0  # pure fifths and equal temperament differ by as much
TRUSTED_CENTS = 3.5  # uncertainty of a reference from notes alone
OFF_SHARE = 0.6  # of the interval's deviation that the other note must be off by
OPEN_MATCH_CENTS = 5.0  # a note further from the open string than this is stopped
SLIPPED_SHARE = 0.65  # of the deviation that the note which moved must account for
STAYED_CENTS = 6.0  # a note that moved less than this stayed
AGREED_SHARE = 0.6  # of the tolerance: separate notes this near to the interval agreed
# Just thirds and sixths are up to 16 cents from equal ones: a note must be off by clearly more.
IMPERFECT_CENTS = 22.0


@dataclass(frozen=True, slots=True)
class Move:
    """``which``: upper, lower or either. ``open_string``: the name of the note that is open for
    certain, so that only the other can move. ``maybe_open``: names of notes that may be.
    ``because``: open, slipped, alone or tuning; ``None`` for either."""

    which: str
    open_string: str | None = None
    maybe_open: tuple[str, ...] = ()
    because: str | None = None


def who_moves(
    event: Event,
    judged: JudgedInterval,
    named: Named,
    measurement: Measurement,
    alone: Compared = NOT_COMPARED,
) -> Move:
    """Decide for one interval of one event; ``alone``: its notes against those played alone."""
    states = _states(event, judged, named, measurement)
    names = [named.low.pitch_class_name, named.high.pitch_class_name]
    if states.count("open") == 1:
        opened = states.index("open")
        return Move("lower" if opened else "upper", names[opened], because="open")
    for because, which in (
        ("slipped", _slipped(judged, named, alone)),
        ("alone", _stayed_at_pitch(named, measurement, alone)),
        ("tuning", _anchored(event, judged, named, measurement)),
    ):
        if which is not None:
            return Move(which, because=because)
    maybe = tuple(name for name, state in zip(names, states, strict=True) if state == "maybe")
    return Move("either", None, maybe)


def _slipped(judged: JudgedInterval, named: Named, alone: Compared) -> str | None:
    """The note that left where both agreed when they were played separately."""
    low, high = alone
    deviation = judged.deviation_cents
    if low is None or high is None or deviation is None or named.target_cents is None:
        return None
    before = high.alone_cents - low.alone_cents - named.target_cents
    if abs(before) > AGREED_SHARE * named.tolerance_cents:
        return None
    shares = {"upper": (high, low, high.cents), "lower": (low, high, -low.cents)}
    for which, (mover, stayer, towards) in shares.items():
        is_mover = mover.is_sure and towards / deviation >= SLIPPED_SHARE
        if is_mover and abs(stayer.cents) <= max(
            STAYED_CENTS, (1 - SLIPPED_SHARE) * abs(deviation)
        ):
            return which
    return None


def _stayed_at_pitch(named: Named, measurement: Measurement, alone: Compared) -> str | None:
    """The other note, where just one was at the clip's pitch by itself and stayed there."""
    if not _is_trusted(measurement.reference):
        return None
    true = [_is_true(moved, midi) for moved, midi in zip(alone, named.midi, strict=True)]
    if true == [True, False] and _may_be_off(alone[1], named.midi[1]):
        return "upper"
    if true == [False, True] and _may_be_off(alone[0], named.midi[0]):
        return "lower"
    return None


def _is_true(moved: Moved | None, midi: int) -> bool:
    if moved is None or abs(moved.cents) > STAYED_CENTS:
        return False
    return abs(moved.alone_cents - 100.0 * midi) <= ANCHOR_CENTS


def _may_be_off(moved: Moved | None, midi: int) -> bool:
    """Not played alone; or then already further off than a just size would put it."""
    return moved is None or abs(moved.alone_cents - 100.0 * midi) >= IMPERFECT_CENTS


def _states(
    event: Event, judged: JudgedInterval, named: Named, measurement: Measurement
) -> list[str]:
    """open, stopped or maybe, for the low and the high note."""
    strings = measurement.options.strings
    places = list(openness(named.low.midi, named.high.midi, strings))
    hands = hands_of(named, measurement.options)
    for place, index in enumerate((judged.low, judged.high)):
        hand = hands[place]
        if hand is not None:
            places[place] = "open" if hand.finger == 0 else "stopped"
        elif places[place] == "maybe" and _is_stopped(event.voices[index], measurement):
            places[place] = "stopped"
    return places


def _is_stopped(voice: Voice, measurement: Measurement) -> bool:
    """Vibrato, or a pitch that is not the open string's as heard in this clip."""
    if voice.vibrato is not None:
        return True
    for string in measurement.open_strings:
        if Pitch.parse(string.pitch).midi == voice.midi:
            reference = string.deviation_cents
            return abs(_deviation(voice, measurement) - reference) > OPEN_MATCH_CENTS + 2.0 * (
                voice.uncertainty_cents or 0.0
            )
    return False


def _deviation(voice: Voice, measurement: Measurement, midi: int | None = None) -> float:
    """Cents from equal temperament at the clip's reference."""
    nominal = voice.midi if midi is None else midi
    return cents_of(voice.f0_hz, measurement.reference.a4_hz) - 100.0 * nominal


def _is_trusted(reference: Reference) -> bool:
    """Whether the clip's tuning is known well enough to hold one note against it."""
    if reference.source in ("given", "open_strings"):
        return True
    doubt = reference.uncertainty_cents
    return reference.source == "notes" and doubt is not None and doubt <= TRUSTED_CENTS


def _anchored(
    event: Event, judged: JudgedInterval, named: Named, measurement: Measurement
) -> str | None:
    """The note that is off the clip's own tuning, where the other one agrees with it."""
    if not _is_trusted(measurement.reference) or named.interval.semitones == 0:
        return None
    voices = event.voices
    low = abs(_deviation(voices[judged.low], measurement, named.low.midi))
    high = abs(_deviation(voices[judged.high], measurement, named.high.midi))
    off = max(OFF_SHARE * abs(judged.deviation_cents or 0.0), ANCHOR_CENTS)
    if not is_perfect(named.interval):
        off = max(off, IMPERFECT_CENTS)
    if low <= ANCHOR_CENTS and high >= off:
        return "upper"
    if high <= ANCHOR_CENTS and low >= off:
        return "lower"
    return None

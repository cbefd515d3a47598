"""Which of two notes has to move.

What can tell, the strongest first:

1. *open*: an open string cannot move, so the stopped note must; of two open strings neither can,
   and they want tuning. The sound alone seldom tells
   whether a note is open; it is taken for open only where it can be played in no other way, or the
   drill's fingering says so.
2. *slipped*: played separately the two notes agreed; together one of them stands elsewhere, by
   what the interval is off. That one moved.
3. *alone*: one note, played separately, was at the clip's own pitch, and it stayed there.
4. *tuning*: one note agrees with the tuning of the whole clip and the other is off by what the
   interval is off.

A note is *at the clip's pitch* between where equal temperament puts it and where the other note,
equal-tempered, asks for it by a true interval: for a just sixth the lower note may stand 16 cents
higher, or the upper one lower, and any share of that between them. Where the interval is off by
little more than that, nothing is concluded.

The last three are advice. Otherwise either note may move.
"""

from dataclasses import dataclass

from studio.intonation.judging.finger_distance import Hands
from studio.intonation.judging.interval_naming import Named
from studio.intonation.judging.separate_notes import NOT_COMPARED, Compared
from studio.intonation.model.judgement import JudgedInterval
from studio.intonation.model.measurement import Event, Measurement, Reference, Voice
from studio.intonation.model.runs import cents_of
from studio.theory import Pitch, openness

ANCHOR_CENTS = 6.0  # pure fifths and equal temperament differ by as much
TRUSTED_CENTS = 3.5  # uncertainty of a reference from notes alone
OFF_SHARE = 0.6  # of the interval's deviation that the other note must be off by
OPEN_MATCH_CENTS = 5.0  # a note further from the open string than this is stopped
SLIPPED_SHARE = 0.65  # of the deviation that the note which moved must account for
STAYED_CENTS = 6.0  # a note that moved less than this stayed
AGREED_SHARE = 0.6  # of the tolerance: separate notes this near to the interval agreed
CLEARLY_OFF_CENTS = 10.0  # beyond what the interval's size leaves open


@dataclass(slots=True)
class Move:
    """``which``: upper, lower, either, or neither of two open strings. ``open_string``: the name of
    the note that is open for certain, so that only the other can move. ``maybe_open``: names of
    notes that may be, among those that are asked to move. ``because``: open, slipped, alone or
    tuning; ``None`` for either."""

    which: str
    open_string: str | None = None
    maybe_open: tuple[str, ...] = ()
    because: str | None = None


def who_moves(
    event: Event,
    judged: JudgedInterval,
    named: Named,
    hands: Hands,
    measurement: Measurement,
    alone: Compared = NOT_COMPARED,
) -> Move:
    """Decide for one interval of one event; ``alone``: its notes against those played alone."""
    states = _states(event, judged, named, hands, measurement)
    if states.count("open") == 1:
        opened = states.index("open")
        name = (named.low, named.high)[opened].pitch_class_name
        return Move("lower" if opened else "upper", name, because="open")
    if states == ["open", "open"]:
        return Move("neither", because="open")
    for because, which in (
        ("slipped", _slipped(judged, named, alone)),
        ("alone", _stayed_at_pitch(judged, named, measurement, alone)),
        ("tuning", _anchored(event, judged, named, measurement)),
    ):
        if which is not None:
            own = () if because == "slipped" else (which,)  # what slipped was stopped
            return Move(which, None, _maybe_open(named, states, own), because)
    return Move("either", None, _maybe_open(named, states, ("lower", "upper")))


def _maybe_open(named: Named, states: list[str], among: tuple[str, ...]) -> tuple[str, ...]:
    """Names of those notes ``among`` lower and upper that may be open strings."""
    notes = zip(("lower", "upper"), (named.low, named.high), states, strict=True)
    return tuple(
        pitch.pitch_class_name
        for which, pitch, state in notes
        if which in among and state == "maybe"
    )


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


def _stayed_at_pitch(
    judged: JudgedInterval, named: Named, measurement: Measurement, alone: Compared
) -> str | None:
    """The other note, where just one was at the clip's pitch by itself and stayed there."""
    if not _can_be_anchored(judged, named, measurement):
        return None
    off = [
        None if moved is None else _off_pitch(moved.alone_cents, place, named)
        for place, moved in enumerate(alone)
    ]
    for place, which in ((0, "upper"), (1, "lower")):
        anchor, there, other = alone[place], off[place], off[1 - place]
        if anchor is None or there is None or there > ANCHOR_CENTS:
            continue
        if abs(anchor.cents) <= STAYED_CENTS and (other is None or other >= CLEARLY_OFF_CENTS):
            return which
    return None


def _can_be_anchored(judged: JudgedInterval, named: Named, measurement: Measurement) -> bool:
    """Whether the clip's pitch can tell the two notes of this interval apart at all."""
    if not _is_trusted(measurement.reference) or named.interval.semitones == 0:
        return False
    if named.target_cents is None or judged.deviation_cents is None:
        return False
    return abs(judged.deviation_cents) >= abs(_leeway(named)) + CLEARLY_OFF_CENTS


def _leeway(named: Named) -> float:
    """Cents by which the target is wider than the equal-tempered interval."""
    assert named.target_cents is not None
    return named.target_cents - 100.0 * (named.midi[1] - named.midi[0])


def _off_pitch(cents: float, place: int, named: Named) -> float:
    """Distance in cents of the lower (0) or upper (1) note from where it may stand, 0 inside."""
    leeway = _leeway(named) if place else -_leeway(named)
    off = cents - 100.0 * named.midi[place]
    return max(min(0.0, leeway) - off, off - max(0.0, leeway), 0.0)


def _states(
    event: Event, judged: JudgedInterval, named: Named, hands: Hands, measurement: Measurement
) -> list[str]:
    """open, stopped or maybe, for the low and the high note."""
    strings = measurement.options.strings
    places = list(openness(named.low.midi, named.high.midi, strings))
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


def _deviation(voice: Voice, measurement: Measurement) -> float:
    """Cents from equal temperament at the clip's reference."""
    return cents_of(voice.f0_hz, measurement.reference.a4_hz) - 100.0 * voice.midi


def _is_trusted(reference: Reference) -> bool:
    """Whether the clip's tuning is known well enough to hold one note against it."""
    if reference.source in ("given", "tone", "open_strings"):
        return True
    doubt = reference.uncertainty_cents
    return reference.source == "notes" and doubt is not None and doubt <= TRUSTED_CENTS


def _anchored(
    event: Event, judged: JudgedInterval, named: Named, measurement: Measurement
) -> str | None:
    """The note that is off the clip's own tuning, where the other one agrees with it."""
    if not _can_be_anchored(judged, named, measurement):
        return None
    a4_hz = measurement.reference.a4_hz
    low, high = (
        _off_pitch(cents_of(event.voices[index].f0_hz, a4_hz), place, named)
        for place, index in enumerate((judged.low, judged.high))
    )
    off = max(OFF_SHARE * abs(judged.deviation_cents or 0.0), CLEARLY_OFF_CENTS)
    if low <= ANCHOR_CENTS and high >= off:
        return "upper"
    if high <= ANCHOR_CENTS and low >= off:
        return "lower"
    return None

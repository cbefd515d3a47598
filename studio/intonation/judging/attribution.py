"""Which of two notes has to move, and how far its finger goes.

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

Separately against together (:func:`compared`)
----------------------------------------------
A pupil plays the two notes of a double stop one after the other, then both. Setting the second
finger often drags the first, and neither ear nor eye of the pupil may notice. Each note of a
playing is held against the same note played separately just before it, in the same run, settled
pitch against settled pitch: no reference and no tuning is needed.

Fingers (:func:`hands_of`)
--------------------------
A stop is in semitones above its open string; strings are named by their letter; distances are in
millimetres along the string, for the pupil's own string length. Nothing here is guessed from the
sound: without a written finger there is no :class:`Hand`, and without a written string there are
no millimetres.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from studio.intonation.judging.interval_naming import Named
from studio.intonation.model.judgement import SURE, JudgedInterval
from studio.intonation.model.measurement import Event, Measurement, Reference, Voice
from studio.intonation.model.options import Options
from studio.intonation.model.runs import DOUBTFUL_CONFIDENCE, SAME_NOTE_CENTS, Played, cents_of
from studio.theory import SEMITONE_CENTS, Pitch, mm_per_cent, openness

# Chosen, all of them; a sure word less often, or a wrong one more often, is what each trades.
# Share of a distance that is not known besides the cents: the string length is often the usual one
# and not measured, and a fingertip is a centimetre wide.
DISTANCE_SHARE = 0.05
MOVED_CENTS = 8.0  # less is within what a steady finger does from bow to bow
SETTLED_S = 0.3  # a shorter note has no settled part
SAME_VISIT_S = 20.0  # played alone longer ago, the hand has been elsewhere since
ANCHOR_CENTS = 6.0  # pure fifths and equal temperament differ by as much
TRUSTED_CENTS = 3.5  # uncertainty of a reference from notes alone
OFF_SHARE = 0.6  # of the interval's deviation that the other note must be off by
OPEN_MATCH_CENTS = 5.0  # a note further from the open string than this is stopped
SLIPPED_SHARE = 0.65  # of the deviation that the note which moved must account for
STAYED_CENTS = 6.0  # a note that moved less than this stayed
AGREED_SHARE = 0.6  # of the tolerance: separate notes this near to the interval agreed
CLEARLY_OFF_CENTS = 10.0  # beyond what the interval's size leaves open


@dataclass(frozen=True, slots=True)
class Hand:
    """One written finger: 0 (open) to 4, its string's letter and its stop, as far as written."""

    finger: int
    string: str | None = None
    stop: int | None = None
    string_length_mm: float = 328.0

    def distance_mm(self, cents: float, uncertainty_cents: float) -> tuple[float, float] | None:
        """How far the finger goes for ``cents``, and the standard deviation of that, in mm.

        ``None`` where the string is not written, or the note is open.

        >>> mm, doubt = Hand(1, "D", 2).distance_mm(18.0, 0.6)
        >>> round(mm, 2), round(doubt, 2)
        (3.04, 0.18)
        """
        if not self.stop:
            return None
        each = mm_per_cent(self.stop, self.string_length_mm)
        distance = abs(cents) * each
        return distance, ((uncertainty_cents * each) ** 2 + (DISTANCE_SHARE * distance) ** 2) ** 0.5


Hands = tuple[Hand | None, Hand | None]  # of the low and the high note, where written


def hands_of(named: Named, options: Options) -> Hands:
    """The written fingers of the low and the high note; ``None`` where none is written."""
    note = named.expected
    if note is None or len(note.fingers) != 2:
        return None, None
    numbers = note.strings or (None, None)
    low, high = (
        None if finger is None else _hand(finger, number, pitch, options)
        for finger, number, pitch in zip(
            note.fingers, numbers, (named.low, named.high), strict=True
        )
    )
    return low, high


def _hand(finger: int, number: int | None, pitch: Pitch, options: Options) -> Hand:
    """The finger with its string, unless the note cannot be played there."""
    strings = options.strings
    if number is None or not 1 <= number <= len(strings):
        return Hand(finger)
    string = strings[len(strings) - number]  # players count from the highest, 1
    stop = pitch.midi - string.midi
    if stop < 0 or (stop == 0) != (finger == 0):
        return Hand(finger)
    length_mm = options.string_length_mm
    assert length_mm is not None  # set when the options were made
    return Hand(finger, string.pretty[:-1], stop, length_mm)


def is_one_finger(low: Hand | None, high: Hand | None) -> bool:
    """Whether one finger lies across two strings, so that its notes do not move freely."""
    if low is None or high is None or not low.finger:
        return False
    return low.finger == high.finger and low.string != high.string


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
    first, end = (bisect_left(broken, at_s, key=_start_s) for at_s in (since_s, until_s))
    before = [item for item in broken[first:end] if _is_settled(item)]
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


def _start_s(item: Played) -> float:
    return item.event.start_s


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
    return named.target_cents - SEMITONE_CENTS * (named.midi[1] - named.midi[0])


def _off_pitch(cents: float, place: int, named: Named) -> float:
    """Distance in cents of the lower (0) or upper (1) note from where it may stand, 0 inside."""
    leeway = _leeway(named) if place else -_leeway(named)
    off = cents - SEMITONE_CENTS * named.midi[place]
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
    return cents_of(voice.f0_hz, measurement.reference.a4_hz) - SEMITONE_CENTS * voice.midi


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

"""Which of two notes has to move.

An open string cannot move, so the stopped note must. The sound alone seldom tells whether a note
is open; it is taken for open only where it can be played in no other way, or the drill's fingering
says so. In a fourth, fifth or octave one note may agree with the tuning of the whole clip and the
other be off by what the interval is off; then that other one is named, as advice. Otherwise
either note may move.
"""

from dataclasses import dataclass

from studio.intonation.judgement import JudgedInterval
from studio.intonation.measurement import Event, Measurement, Reference, Voice
from studio.intonation.naming import Named
from studio.intonation.runs import cents_of
from studio.theory import Pitch, is_perfect, openness

ANCHOR_CENTS = 6.0  # pure fifths and equal temperament differ by as much
TRUSTED_CENTS = 3.5  # uncertainty of a reference from notes alone
OFF_SHARE = 0.6  # of the interval's deviation that the other note must be off by
OPEN_MATCH_CENTS = 5.0  # a note further from the open string than this is stopped


@dataclass(frozen=True, slots=True)
class Move:
    """``which``: upper, lower or either. ``open_string``: the name of the note that is open for
    certain, so that only the other can move. ``maybe_open``: names of notes that may be."""

    which: str
    open_string: str | None = None
    maybe_open: tuple[str, ...] = ()


def who_moves(event: Event, judged: JudgedInterval, named: Named, measurement: Measurement) -> Move:
    """Decide for one interval of one event."""
    states = _states(event, judged, named, measurement)
    names = [named.low.pitch_class_name, named.high.pitch_class_name]
    if states.count("open") == 1:
        opened = states.index("open")
        return Move("lower" if opened else "upper", names[opened])
    maybe = tuple(name for name, state in zip(names, states, strict=True) if state == "maybe")
    anchored = _anchored(event, judged, named, measurement)
    return Move(anchored, None, () if anchored != "either" else maybe)


def _states(
    event: Event, judged: JudgedInterval, named: Named, measurement: Measurement
) -> list[str]:
    """open, stopped or maybe, for the low and the high note."""
    strings = measurement.options.strings
    places = list(openness(named.low.midi, named.high.midi, strings))
    for place, index in enumerate((judged.low, judged.high)):
        finger = _finger(named, place)
        if finger is not None:
            places[place] = "open" if finger == 0 else "stopped"
        elif places[place] == "maybe" and _is_stopped(event.voices[index], measurement):
            places[place] = "stopped"
    return places


def _finger(named: Named, place: int) -> int | None:
    fingers = named.expected.fingers if named.expected else ()
    return fingers[place] if fingers else None


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


def _anchored(event: Event, judged: JudgedInterval, named: Named, measurement: Measurement) -> str:
    if not _is_trusted(measurement.reference):
        return "either"
    if named.interval.semitones == 0 or not is_perfect(named.interval):
        return "either"
    voices = event.voices
    low = abs(_deviation(voices[judged.low], measurement, named.low.midi))
    high = abs(_deviation(voices[judged.high], measurement, named.high.midi))
    off = OFF_SHARE * abs(judged.deviation_cents or 0.0)
    if low <= ANCHOR_CENTS and high >= max(off, ANCHOR_CENTS):
        return "upper"
    if high <= ANCHOR_CENTS and low >= max(off, ANCHOR_CENTS):
        return "lower"
    return "either"

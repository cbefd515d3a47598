"""Building marks: the moments proposed to the teacher, with what their sentences need."""

from dataclasses import dataclass
from typing import Any

from studio.intonation.judgement import JudgedInterval, Mark, Run
from studio.intonation.measurement import Event, HeardInterval, Measurement, OpenString
from studio.intonation.moving import who_moves
from studio.intonation.naming import Named
from studio.intonation.verdicts import SURE, severity_of

# Pure fifths and equal temperament differ by up to 6 cents on an open string: not a fault.
OPEN_STRING_CENTS = 6.0
OPEN_STRING_MATCH = 0.003  # as a share of the frequency, about 5 cents


@dataclass(frozen=True, slots=True)
class JudgedPlaying:
    """One playing of a run: its place from 1, its event, and the interval judged."""

    place: int
    event: Event
    judged: JudgedInterval
    named: Named

    @property
    def heard(self) -> HeardInterval:
        """The measured interval behind the judged one."""
        pair = (self.judged.low, self.judged.high)
        return next(i for i in self.event.intervals if (i.low, i.high) == pair)


def interval_mark(run: Run, row: JudgedPlaying, first_is: str, measurement: Measurement) -> Mark:
    """The mark of a run whose last settled playing is out.

    ``first_is`` says what the run's first deviation is of: a playing, or a landing.
    """
    deviation = row.judged.deviation_cents
    assert deviation is not None  # only a measured playing is marked
    move = who_moves(row.event, row.judged, row.named, measurement)
    voice = None  # named only where the other one, an open string, cannot move
    if move.open_string is not None:
        voice = row.judged.high if move.which == "upper" else row.judged.low
    params: dict[str, Any] = {
        "interval": row.judged.short,
        "low": row.judged.low_pitch,
        "high": row.judged.high_pitch,
        "at_s": row.event.start_s,
        "playing": row.place,
        "playings": len(run.playings),
        "deviation_cents": deviation,
        "uncertainty_cents": row.heard.uncertainty_cents,
        "first_cents": run.first_cents,
        "first": first_is,
        "move": move.which,
        "open": move.open_string,
        "maybe_open": list(move.maybe_open),
    }
    return Mark(
        id=0,
        start_s=row.event.start_s,
        end_s=row.event.end_s,
        code="interval_wide" if deviation > 0 else "interval_narrow",
        events=(row.event.id,),
        run=run.id,
        voice=voice,
        basis="settled",
        severity=severity_of(deviation, row.named.tolerance_cents),
        params=params,
    )


def open_string_mark(string: OpenString, measurement: Measurement) -> Mark | None:
    """A mark at the first sounding of an open string that is clearly out of tune, else ``None``."""
    if string.uncertainty_cents is None:
        return None
    reference = measurement.reference.uncertainty_cents or 0.0
    uncertainty = (string.uncertainty_cents**2 + reference**2) ** 0.5
    if abs(string.deviation_cents) - OPEN_STRING_CENTS <= SURE * uncertainty:
        return None
    event = _first_sounding(string, measurement)
    if event is None:
        return None
    return Mark(
        id=0,
        start_s=event.start_s,
        end_s=event.end_s,
        code="open_string_off",
        events=(event.id,),
        run=None,
        voice=None,
        basis="settled",
        severity=severity_of(string.deviation_cents, OPEN_STRING_CENTS),
        params={
            "pitch": string.pitch,
            "deviation_cents": string.deviation_cents,
            "uncertainty_cents": uncertainty,
        },
    )


def _first_sounding(string: OpenString, measurement: Measurement) -> Event | None:
    for event in measurement.events:
        for voice in event.voices:
            if abs(voice.f0_hz / string.f0_hz - 1.0) < OPEN_STRING_MATCH:
                return event
    return None

"""Building measurements for tests of judging: what a clip might hold, without any sound."""

import math

from studio.intonation.model.measurement import (
    Event,
    HeardInterval,
    Measurement,
    OpenString,
    Reading,
    Reference,
    VibratoHeard,
    Voice,
    kind_of,
)
from studio.intonation.model.options import Options
from studio.theory import Pitch

EACH_S = 1.0


class Clip:
    """A clip that grows event by event, one second each."""

    def __init__(self, a4_hz: float = 440.0, source: str = "assumed", **options: object) -> None:
        self._a4_hz = a4_hz
        self._options = Options(**options)
        self._reference = Reference(a4_hz, 0.5, source)
        self._strings: list[OpenString] = []
        self._events: list[Event] = []
        self._at_s = 0.0

    def note(self, name: str, off: float = 0.0, **fields: object) -> "Clip":
        """A single note, ``off`` cents from equal temperament."""
        return self._add([(name, off)], None, **fields)

    def pair(
        self,
        low: str,
        high: str,
        off: float = 0.0,
        *,
        low_off: float = 0.0,
        uncertainty: float | None = 0.5,
        size: float | None = None,
        landing: float | None = None,
        reason: str | None = None,
        vibrato: bool = False,
        **fields: object,
    ) -> "Clip":
        """A double stop whose interval is ``off`` cents from ``size`` (default: its just size)."""
        a, b = Pitch.parse(low), Pitch.parse(high)
        just = JUST[b.midi - a.midi] if size is None else size
        high_off = low_off + just + off - 100.0 * (b.midi - a.midi)
        interval = HeardInterval(
            0,
            1,
            just + off,
            uncertainty,
            None if landing is None else just + landing,
            unsure_reason=reason,
        )
        voices = [(low, low_off), (high, high_off)]
        return self._add(voices, interval, vibrato=vibrato, **fields)

    def silence(self, seconds: float) -> "Clip":
        """Nothing is played for a while."""
        self._at_s += seconds
        return self

    def string(self, name: str, off: float, uncertainty: float | None = 0.5) -> "Clip":
        """An open string, ``off`` cents from equal temperament, as found by listening."""
        f0 = Pitch.parse(name).frequency(self._a4_hz) * 2.0 ** (off / 1200.0)
        self._strings.append(OpenString(name, f0, off, uncertainty, 1.0))
        return self

    def done(self) -> Measurement:
        """The measurement."""
        return Measurement(
            options=self._options,
            reference=self._reference,
            open_strings=tuple(self._strings),
            events=tuple(self._events),
        )

    def _add(
        self,
        notes: list[tuple[str, float]],
        interval: HeardInterval | None,
        *,
        length: float = 0.9,
        vibrato: bool = False,
        other: tuple[str, ...] = (),
        doubt: str | None = None,
        confidence: float = 0.99,
        levels: tuple[float | None, ...] = (None, None, None),
        dropouts: tuple[tuple[tuple[float, float], ...], ...] = ((), (), ()),
        unsure: float | None = 0.5,
        each: float = EACH_S,
    ) -> "Clip":
        """``dropouts`` are spans after the start; ``unsure`` is each voice's own doubt in cents;
        the next event begins after ``length``, and after ``each`` at the earliest, in s."""
        start, end = self._at_s, self._at_s + length
        voices = tuple(
            Voice(
                midi=round(Pitch.parse(name).midi + off / 100.0),
                pitch=name,
                f0_hz=Pitch.parse(name).frequency(self._a4_hz) * 2.0 ** (off / 1200.0),
                uncertainty_cents=unsure,
                start_s=start,
                end_s=end,
                level_db=level,
                vibrato=VibratoHeard(5.5, 12.0) if vibrato else None,
                dropouts=tuple((start + a, start + b) for a, b in gaps),
            )
            for (name, off), level, gaps in zip(notes, levels, dropouts, strict=False)
        )
        readings = tuple(Pitch.parse(name).frequency(self._a4_hz) for name in other)
        self._events.append(
            Event(
                id=len(self._events),
                kind=kind_of(len(voices)),
                start_s=start,
                end_s=end,
                voices=voices,
                intervals=(interval,) if interval else (),
                confidence=confidence,
                alternatives=(Reading(readings, other),) if readings else (),
                doubt=doubt,
            )
        )
        self._at_s += max(each, length)
        return self


# Just sizes in cents by semitones, from the ratios (Ellis, in Helmholtz 1885, App. XX).
JUST = {
    semitones: 1200.0 * math.log2(upper / lower)
    for semitones, (upper, lower) in {
        0: (1, 1),
        1: (16, 15),
        2: (9, 8),
        3: (6, 5),
        4: (5, 4),
        5: (4, 3),
        6: (45, 32),
        7: (3, 2),
        8: (8, 5),
        9: (5, 3),
        10: (9, 5),
        11: (15, 8),
        12: (2, 1),
        15: (12, 5),
        16: (5, 2),
        19: (3, 1),
    }.items()
}

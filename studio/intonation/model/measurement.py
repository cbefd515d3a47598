"""What sounded: :class:`Measurement`, without any opinion on it.

Conventions
-----------
* Seconds from the first sample. Hertz do not depend on any A4; ``midi`` and ``pitch`` are the
  nearest equal-tempered note at the clip's own reference.
* ``uncertainty_cents`` is one standard deviation; ``None`` says it could not be measured.
* Voices run from low to high. ``landing_*`` is just after the onset, the rest is settled.
* ``open_strings`` deviations are from equal temperament at the reference, sharp positive.

A measurement made by an older engine still loads: missing fields take their defaults, unknown
ones are left out.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from studio.intonation.model.options import Options
from studio.intonation.model.serialization import known_fields, to_plain

SCHEMA = 1  # of the document, by definition: schema/README.md says what raises it
ENGINE = "2.0.0"
KINDS = ("single", "double_stop", "chord")


def kind_of(voices: int) -> str:
    """single, double_stop or chord for a number of voices (1 to 4)."""
    if not 1 <= voices <= 4:
        raise ValueError(f"{voices} voices is outside 1 to 4")
    return KINDS[min(voices, 3) - 1]


@dataclass(frozen=True, slots=True)
class Source:
    """The sound that was listened to."""

    duration_s: float = 0.0
    sample_rate_hz: int = 22050


@dataclass(frozen=True, slots=True)
class Reference:
    """The clip's A4. ``source``: given, tone (a reference tone), open_strings, notes, or
    assumed (nothing to go by)."""

    a4_hz: float = 440.0
    uncertainty_cents: float | None = None
    source: str = "assumed"


@dataclass(frozen=True, slots=True)
class OpenString:
    """An open string heard: its pitch, deviation and how long it sounded in all."""

    pitch: str
    f0_hz: float
    deviation_cents: float
    uncertainty_cents: float | None = None
    heard_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Quality:
    """Signal to noise in dB, and whether samples sat at full scale."""

    snr_db: float | None = None
    clipped: bool = False


@dataclass(frozen=True, slots=True)
class VibratoHeard:
    """Rate in Hz and extent in plus or minus cents."""

    rate_hz: float
    extent_cents: float


@dataclass(frozen=True, slots=True)
class Track:
    """How a voice moved: cents from its ``f0_hz`` every ``step_s`` from ``start_s`` on.

    ``None`` where the voice could not be followed.
    """

    start_s: float = 0.0
    step_s: float = 0.05
    cents: tuple[float | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Voice:
    """One note of an event. ``string`` and ``finger`` are known from a drill only."""

    midi: int
    pitch: str
    f0_hz: float
    uncertainty_cents: float | None = None
    landing_f0_hz: float | None = None
    start_s: float = 0.0
    end_s: float = 0.0
    level_db: float | None = None
    vibrato: VibratoHeard | None = None
    string: int | None = None
    finger: int | None = None
    drift_cents_per_s: float | None = None
    steadiness_cents: float | None = None
    dropouts: tuple[tuple[float, float], ...] = ()
    track: Track | None = None


@dataclass(frozen=True, slots=True)
class HeardInterval:
    """The interval between voices ``low`` and ``high`` (indices) of an event.

    ``size_cents`` is the mean over the held part. ``end_size_cents`` is where it ended, where that
    is surely elsewhere; ``moved_cents`` how far it moved about its mean (one standard deviation).
    """

    low: int
    high: int
    size_cents: float
    uncertainty_cents: float | None = None
    landing_size_cents: float | None = None
    beat_hz: float | None = None
    lock: float | None = None
    unsure_reason: str | None = None
    end_size_cents: float | None = None
    moved_cents: float | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """Another reading of an event: the notes it might have been."""

    f0_hz: tuple[float, ...]
    pitches: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Event:
    """Something heard: a single note, a double stop or a chord.

    ``doubt`` is a code where the reading itself is open (``octave_or_single``), else ``None``.
    """

    id: int
    kind: str
    start_s: float
    end_s: float
    voices: tuple[Voice, ...]
    intervals: tuple[HeardInterval, ...] = ()
    confidence: float = 1.0
    alternatives: tuple[Reading, ...] = ()
    quality: Quality = Quality()
    doubt: str | None = None


@dataclass(frozen=True, slots=True)
class BelowRange:
    """Notes below the instrument's lowest string.

    How many, what share (0..1) of the time in which anything was heard, and the lowest in hertz.
    """

    notes: int
    share: float
    lowest_hz: float


@dataclass(frozen=True, slots=True)
class Measurement:
    """All that was heard in one clip."""

    source: Source = Source()
    options: Options = field(default_factory=Options)
    reference: Reference = Reference()
    open_strings: tuple[OpenString, ...] = ()
    events: tuple[Event, ...] = ()
    key: str | None = None  # the likeliest one; for spelling where the policy names none
    below_range: BelowRange | None = None
    engine: str = ENGINE
    schema: int = SCHEMA

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON; no NaN."""
        return {
            "schema": self.schema,
            "engine": self.engine,
            "source": to_plain(self.source),
            "options": to_plain(self.options),
            "reference": to_plain(self.reference),
            "key": self.key,
            "below_range": to_plain(self.below_range),
            "open_strings": to_plain(self.open_strings),
            "events": to_plain(self.events),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> "Measurement":
        """Load a stored measurement.

        Raises
        ------
        ValueError
            If it was written under a newer ``schema`` than this engine knows.
        """
        schema = int(data.get("schema", SCHEMA))
        if schema > SCHEMA:
            raise ValueError(
                f"measurement schema {schema} is newer than {SCHEMA}; upgrade this engine"
            )
        options = known_fields(Options, data.get("options") or {})
        if options.get("open_strings") is not None:
            options["open_strings"] = tuple(options["open_strings"])
        if options.get("reference_tone_s") is not None:
            options["reference_tone_s"] = tuple(options["reference_tone_s"])
        return cls(
            source=Source(**known_fields(Source, data.get("source") or {})),
            options=Options(**options),
            reference=Reference(**known_fields(Reference, data.get("reference") or {})),
            open_strings=tuple(
                OpenString(**known_fields(OpenString, item))
                for item in data.get("open_strings") or ()
            ),
            events=tuple(_event(item) for item in data.get("events") or ()),
            key=data.get("key"),
            below_range=_below_range(data.get("below_range")),
            engine=str(data.get("engine", ENGINE)),
            schema=schema,
        )

    def with_events(self, events: tuple[Event, ...]) -> "Measurement":
        """The same measurement with other events."""
        return replace(self, events=events)


def _below_range(data: Mapping[str, Any] | None) -> BelowRange | None:
    return BelowRange(**known_fields(BelowRange, data)) if data else None


def _event(data: Mapping[str, Any]) -> Event:
    kept = known_fields(Event, data)
    kept["voices"] = tuple(_voice(item) for item in data.get("voices") or ())
    kept["intervals"] = tuple(
        HeardInterval(**known_fields(HeardInterval, item)) for item in data.get("intervals") or ()
    )
    kept["alternatives"] = tuple(
        Reading(tuple(item.get("f0_hz") or ()), tuple(item.get("pitches") or ()))
        for item in data.get("alternatives") or ()
    )
    kept["quality"] = Quality(**known_fields(Quality, data.get("quality") or {}))
    return Event(**kept)


def _voice(data: Mapping[str, Any]) -> Voice:
    kept = known_fields(Voice, data)
    if kept.get("vibrato") is not None:
        kept["vibrato"] = VibratoHeard(**known_fields(VibratoHeard, kept["vibrato"]))
    kept["dropouts"] = tuple(tuple(span) for span in data.get("dropouts") or ())
    if kept.get("track") is not None:
        track = known_fields(Track, kept["track"])
        track["cents"] = tuple(track.get("cents") or ())
        kept["track"] = Track(**track)
    return Voice(**kept)

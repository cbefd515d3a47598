"""What passes between the three steps of listening.

Listening is three steps, each in a package of its own:

1. ``detection`` – *which notes, and when*: ``find_soundings(y, sr, ...)`` cuts the sound
   into :class:`Sounding` objects (one note, a double stop, or a chord).
2. ``estimation`` – *how many cents*: ``measure_sounding(y, sr, sounding, ...)`` fits the
   voices of one sounding together and gives an :class:`EventFit`.
3. ``listening`` – puts both together, estimates the reference and builds the
   :class:`~studio.intonation.model.measurement.Measurement`.

Conventions
-----------
* ``y`` is mono float, shape (n,), in -1..1; ``sr`` in Hz. Time 0 is the first sample.
* Spans are ``start_s``/``end_s`` in seconds. Voices run from low to high.
* Pitches are frequencies in Hz, independent of any A4. Cents between two
  frequencies: ``theory.in_cents(f2 / f1)``.
* ``uncertainty_cents`` is one standard deviation; ``None`` means it could not be measured.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class SoundingVoice:
    """One voice of a sounding: its coarse pitch (right within about 20 cents) and span."""

    f0_hz: float
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Sounding:
    """Something heard: one, two, three or four notes at once.

    ``confidence`` is 0..1: how sure it is that these, and no other, notes sound.
    ``alternatives`` are other readings, each a tuple of frequencies in Hz, likeliest first.
    ``snr_db`` is tonal power over noise power; ``clipped`` says that samples sat at full scale.
    ``doubt`` is a code where the reading itself is open (``"octave_or_single"``: an octave
    double stop cannot be told from one bright note), else ``None``.
    """

    start_s: float
    end_s: float
    voices: tuple[SoundingVoice, ...]
    confidence: float
    alternatives: tuple[tuple[float, ...], ...] = ()
    snr_db: float | None = None
    clipped: bool = False
    doubt: str | None = None


@dataclass(frozen=True, slots=True)
class Vibrato:
    """Periodic movement of pitch: rate in Hz (about 4 to 7), extent as plus or minus cents."""

    rate_hz: float
    extent_cents: float


@dataclass(frozen=True, slots=True)
class VoiceFit:
    """One fitted voice.

    ``f0_hz`` is the settled pitch: the mean of cents(t) over the settled part, from the landing (or
    the end of an adjustment) to the release, as a frequency. ``landing_f0_hz`` is that just after
    the onset, ``None`` when the note is too short to tell them apart. ``track_s`` and ``track_hz``
    (same shape (m,)) follow the pitch about every 20 ms. ``level_db`` is the voice's RMS re full
    scale. ``dropouts`` are spans (start_s, end_s) inside the sounding where the voice falls silent.
    """

    f0_hz: float
    uncertainty_cents: float | None
    landing_f0_hz: float | None
    level_db: float
    vibrato: Vibrato | None
    drift_cents_per_s: float | None
    steadiness_cents: float | None
    track_s: np.ndarray
    track_hz: np.ndarray
    dropouts: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class IntervalFit:
    """The interval between voices ``low`` and ``high`` (indices), from the joint fit.

    ``size_cents`` is settled; ``landing_size_cents`` is at the onset or ``None``.
    ``end_size_cents`` is that of the last tenths of a second, where it differs from ``size_cents``
    by more than twice the uncertainty, else ``None``; ``moved_cents`` how far the interval moved
    about its mean, slowly (one standard deviation). ``lock`` (0..1) says how much of the sound each
    voice explains, the smaller of the two: the best predictor of error. ``unsure_reason`` is a code
    or ``None``.
    """

    low: int
    high: int
    size_cents: float
    uncertainty_cents: float | None
    landing_size_cents: float | None
    lock: float
    unsure_reason: str | None = None
    end_size_cents: float | None = None
    moved_cents: float | None = None


@dataclass(frozen=True, slots=True)
class EventFit:
    """All that was measured of one sounding."""

    voices: tuple[VoiceFit, ...]
    intervals: tuple[IntervalFit, ...]

"""Listening: which notes, how many cents, the reference, and the measurement of it all.

The sound is read block by block; memory beyond ``y`` itself does not grow with its length.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product

import numpy as np

from studio.intonation.detection import find_soundings
from studio.intonation.detection.instrument_range import below_range
from studio.intonation.detection.merging import mended, rejoined
from studio.intonation.detection.octaves import reread
from studio.intonation.detection.resampling import Sound
from studio.intonation.estimation import measure_sounding
from studio.intonation.estimation.estimator import unmeasured
from studio.intonation.estimation.reference_pitch import HeardNote, estimate, from_tone
from studio.intonation.model.measurement import (
    Event,
    HeardInterval,
    Measurement,
    Quality,
    Reading,
    Reference,
    Source,
    Track,
    VibratoHeard,
    Voice,
    kind_of,
)
from studio.intonation.model.options import Options
from studio.intonation.model.runs import cents_of
from studio.intonation.model.sounding import (
    EventFit,
    IntervalFit,
    Sounding,
    SoundingVoice,
    VoiceFit,
)
from studio.theory import (
    SEMITONE_CENTS,
    Key,
    Pitch,
    as_ratio,
    beat_hz,
    has_agreed_target,
    in_cents,
    interval_of_semitones,
    likely_key,
    places,
    placings,
    size_cents,
    spell,
    spell_pair,
    string_number,
)

# Chosen:
MIN_RATE_HZ = 8000.0  # sound sampled slower has too few partials
SHORTEST_S = 0.1  # less holds no note
LOWEST_A4_HZ = 430.0  # a lower one has to be given
FLOOR_BELOW_CENTS = 75.0  # below the lowest open string, which may be tuned low
LEAST_FLOOR_HZ = 100.0  # where finding ends, see ``detection.detector``
MARGIN_S = 1.0  # of sound on each side of an event, for its windows
TRACK_STEP_S = 0.05  # of the pitch that is stored: vibrato shows, and a clip stays small
TRACK_GAP = 2.0  # steps from the nearest measured pitch, beyond which it is lost
FINDING_SHARE = 0.4  # of the time, about, for the progress told
# Naming two notes at once, in square cents: how far each is from its name, how far their
# interval is from its size (twice), and a price for sizes that are seldom played together. Chosen.
SIZE_WEIGHT = 2.0
DISSONANCE_PRICE = 600.0  # 24 cents squared
CLEARLY_NAMED_CENTS = 20.0  # from a name: no other is tried
HALFWAY_CENTS = 50.0  # from one name to the next, by definition

Progress = Callable[[float], None]


def listen(
    y: np.ndarray, sr: float, options: Options, *, on_progress: Progress | None = None
) -> Measurement:
    """See :func:`studio.intonation.listen`."""
    tell = on_progress or (lambda share: None)
    y = _checked(y, sr)
    tell(0.0)
    floor_hz = _floor_hz(options)
    enough = len(y) >= SHORTEST_S * sr
    sound = Sound(y, sr)
    everything = find_soundings(y, sr) if enough else []
    below = below_range(y, sr, everything, floor_hz)
    soundings = mended(_in_range(everything, floor_hz), options.strings)
    tell(FINDING_SHARE)
    fits = []
    for number, sounding in enumerate(soundings, start=1):
        fits.append(_fit(sound, sounding))
        tell(FINDING_SHARE + (1.0 - FINDING_SHARE) * number / len(soundings))
    measure = partial(_fit, sound)
    soundings, fits = reread(soundings, fits, measure)
    soundings, fits = rejoined(soundings, fits, measure)
    tell(1.0)
    source = Source(len(y) / float(sr), round(sr))
    heard = build(soundings, fits, source, options, _tone(y, sr, options))
    heard = replace(heard, below_range=below)
    # As it will be stored, rounding included: judging it later gives the same marks.
    return Measurement.from_dict(heard.to_dict())


def _tone(y: np.ndarray, sr: float, options: Options) -> Reference | None:
    span_s = options.reference_tone_s
    return from_tone(y, sr, span_s, options.reference_tone_pitch) if span_s else None


def _floor_hz(options: Options) -> float:
    """Just below the lowest open string, which no note can go under, at the lowest likely A4."""
    a4_hz = options.a4_hz or LOWEST_A4_HZ
    lowest = options.strings[0].frequency(a4_hz)
    return max(LEAST_FLOOR_HZ, lowest * as_ratio(-FLOOR_BELOW_CENTS))


def _in_range(soundings: Sequence[Sounding], floor_hz: float) -> list[Sounding]:
    """The soundings without voices below the instrument.

    Finding looks lower than that on purpose: a reading an octave too low must be weighed and
    found wanting, or it comes back as something worse.
    """
    kept = []
    for sounding in soundings:
        voices = tuple(voice for voice in sounding.voices if voice.f0_hz >= floor_hz)
        if voices:
            kept.append(replace(sounding, voices=voices))
    return kept


def _checked(y: np.ndarray, sr: float) -> np.ndarray:
    if not isinstance(y, np.ndarray) or y.ndim != 1:
        shape = getattr(y, "shape", type(y).__name__)
        raise ValueError(f"y must be a one-dimensional array of samples, not {shape}")
    if not np.issubdtype(y.dtype, np.floating):
        raise ValueError(f"y holds {y.dtype}; give floats from -1 to 1, such as y / 32768.0")
    if not sr >= MIN_RATE_HZ:
        raise ValueError(f"sample rate {sr} Hz is below {MIN_RATE_HZ:g} Hz; try 22050")
    return y


def _fit(sound: Sound, sounding: Sounding) -> EventFit:
    """Measure one sounding on a slice of the clip at the analysis rate."""
    first = max(0, int((sounding.start_s - MARGIN_S) * sound.fs))
    last = int(min(sounding.end_s + MARGIN_S, sound.duration_s) * sound.fs)
    piece = sound.read(first, last - first).astype(np.float64)
    origin_s = first / sound.fs
    try:
        fit = measure_sounding(piece, sound.fs, _shifted(sounding, -origin_s))
    except np.linalg.LinAlgError:  # one sounding that cannot be solved must not lose the clip
        return _not_measured(sounding)
    if not all(np.isfinite(voice.f0_hz) and voice.f0_hz > 0.0 for voice in fit.voices):
        return _not_measured(sounding)
    return EventFit(tuple(_fit_shifted(voice, origin_s) for voice in fit.voices), fit.intervals)


def _not_measured(sounding: Sounding) -> EventFit:
    """The coarse pitches, without an uncertainty: shown, and never judged."""
    f0 = np.array([voice.f0_hz for voice in sounding.voices])
    return unmeasured(f0, "not_measured")


def _shifted(sounding: Sounding, by_s: float) -> Sounding:
    voices = tuple(
        SoundingVoice(v.f0_hz, v.start_s + by_s, v.end_s + by_s) for v in sounding.voices
    )
    return replace(
        sounding, start_s=sounding.start_s + by_s, end_s=sounding.end_s + by_s, voices=voices
    )


def _fit_shifted(voice: VoiceFit, by_s: float) -> VoiceFit:
    dropouts = tuple((start + by_s, end + by_s) for start, end in voice.dropouts)
    return replace(voice, track_s=voice.track_s + by_s, dropouts=dropouts)


def build(
    soundings: Sequence[Sounding],
    fits: Sequence[EventFit],
    source: Source,
    options: Options,
    tone: Reference | None = None,
) -> Measurement:
    """The measurement of soundings and their fits (same order, voices aligned).

    ``tone``: what the reference tone said, where there is one.
    """
    notes = [
        note
        for number, (sounding, fit) in enumerate(zip(soundings, fits, strict=True))
        for note in _heard_notes(number, sounding, fit)
    ]
    reference, strings = estimate(notes, options, tone)
    midi = [name_notes([v.f0_hz for v in fit.voices], reference.a4_hz) for fit in fits]
    key = _key(soundings, fits, midi, reference.a4_hz)
    events = tuple(
        _event(number, sounding, fit, names, _Clip(reference, options, key))
        for number, (sounding, fit, names) in enumerate(zip(soundings, fits, midi, strict=True))
    )
    return Measurement(source, options, reference, strings, events, str(key) if key else None)


@dataclass(frozen=True, slots=True)
class _Clip:
    """What all events of a clip share."""

    reference: Reference
    options: Options
    key: Key | None


def _key(
    soundings: Sequence[Sounding],
    fits: Sequence[EventFit],
    midi: Sequence[Sequence[int]],
    a4_hz: float,
) -> Key | None:
    """The likeliest key, each note counting as long as it sounded, and less the further off it was.

    A note halfway between two names tells nothing of the key.
    """
    heard: dict[int, float] = {}
    for sounding, fit, notes in zip(soundings, fits, midi, strict=True):
        for voice, note in zip(fit.voices, notes, strict=True):
            off = abs(cents_of(voice.f0_hz, a4_hz) - SEMITONE_CENTS * note)
            counts = max(0.0, 1.0 - off / HALFWAY_CENTS) * (sounding.end_s - sounding.start_s)
            if counts > 0.0:
                heard[note] = heard.get(note, 0.0) + counts
    return likely_key(heard)


def _heard_notes(number: int, sounding: Sounding, fit: EventFit) -> list[HeardNote]:
    f0 = [voice.f0_hz for voice in fit.voices]
    return [
        HeardNote(
            number,
            index,
            voice.f0_hz,
            voice.uncertainty_cents,
            coarse.end_s - coarse.start_s,
            voice.vibrato is not None,
            tuple(f0[:index] + f0[index + 1 :]),
        )
        for index, (coarse, voice) in enumerate(zip(sounding.voices, fit.voices, strict=True))
    ]


def _event(
    number: int, sounding: Sounding, fit: EventFit, midi: Sequence[int], clip: _Clip
) -> Event:
    hands = _places(midi, clip.options.strings)
    voices = tuple(
        _voice(coarse, voice, note, pitch, hand)
        for coarse, voice, note, pitch, hand in zip(
            sounding.voices, fit.voices, midi, _spelled(midi, clip.key), hands, strict=True
        )
    )
    return Event(
        id=number,
        kind=kind_of(len(voices)),
        start_s=sounding.start_s,
        end_s=sounding.end_s,
        voices=voices,
        intervals=tuple(
            _interval(each, voices) for each in fit.intervals if np.isfinite(each.size_cents)
        ),
        confidence=min(max(float(sounding.confidence), 0.0), 1.0),
        alternatives=tuple(
            Reading(tuple(map(float, other)), _pitch_names(other, clip))
            for other in sounding.alternatives
        ),
        quality=Quality(_number(sounding.snr_db), bool(sounding.clipped)),
        doubt=sounding.doubt,
    )


def _number(value: float | None) -> float | None:
    return float(value) if value is not None and np.isfinite(value) else None


def _pitch_names(f0_hz: Sequence[float], clip: _Clip) -> tuple[str, ...]:
    midi = name_notes(f0_hz, clip.reference.a4_hz)
    return tuple(str(pitch) for pitch in _spelled(midi, clip.key))


def name_notes(f0_hz: Sequence[float], a4_hz: float) -> list[int]:
    """MIDI numbers for notes that sound together, low to high.

    The nearest note for each, unless a neighbour makes a better interval: an octave whose lower
    note is 26 and upper note 56 cents sharp is an octave, not a minor ninth.
    """
    cents = [cents_of(f0, a4_hz) for f0 in f0_hz]
    ways = [list(way) for way in product(*(_choices(value) for value in cents))]
    return min(ways, key=lambda midi: _naming_cost(midi, cents))


def _choices(cents: float) -> tuple[int, ...]:
    nearest = round(cents / SEMITONE_CENTS)
    off = cents - SEMITONE_CENTS * nearest
    if abs(off) <= CLEARLY_NAMED_CENTS:
        return (nearest,)
    return (nearest, nearest + (1 if off > 0 else -1))


def _naming_cost(midi: Sequence[int], cents: Sequence[float]) -> float:
    cost = sum(
        (value - SEMITONE_CENTS * note) ** 2 for note, value in zip(midi, cents, strict=True)
    )
    for low in range(len(midi) - 1):
        semitones = midi[low + 1] - midi[low]
        if not 0 <= semitones <= 48:
            return float("inf") if semitones < 0 else cost
        interval = interval_of_semitones(semitones)
        size = size_cents(interval, "just") or SEMITONE_CENTS * semitones
        cost += SIZE_WEIGHT * (cents[low + 1] - cents[low] - size) ** 2
        cost += 0.0 if has_agreed_target(interval) else DISSONANCE_PRICE
    return cost


def _spelled(midi: Sequence[int], key: Key | None) -> list[Pitch]:
    if len(midi) == 2 and 0 <= midi[1] - midi[0] <= 48:
        low, high, _ = spell_pair(midi[0], midi[1], key)
        return [low, high]
    return [spell(note, key) for note in midi]


def _places(midi: Sequence[int], strings: tuple[Pitch, ...]) -> list[tuple[int | None, int | None]]:
    """(string, finger) of each note where only one is possible; fingers only when open (0)."""
    if len(midi) == 1:
        ways = [places(midi[0], strings)]
    elif len(midi) == 2:
        found = placings(midi[0], midi[1], strings)
        ways = [
            [(way.low_string, way.low_stop) for way in found],
            [(way.high_string, way.high_stop) for way in found],
        ]
    else:
        return [(None, None)] * len(midi)
    return [_only(way, strings) for way in ways]


def _only(ways: list[tuple[int, int]], strings: tuple[Pitch, ...]) -> tuple[int | None, int | None]:
    if len(set(ways)) != 1:
        return None, None
    index, stop = ways[0]
    return string_number(index, strings), 0 if stop == 0 else None


def _voice(
    coarse: SoundingVoice,
    fit: VoiceFit,
    midi: int,
    pitch: Pitch,
    hand: tuple[int | None, int | None],
) -> Voice:
    vibrato = fit.vibrato
    return Voice(
        midi=midi,
        pitch=str(pitch),
        f0_hz=float(fit.f0_hz),
        uncertainty_cents=_number(fit.uncertainty_cents),
        landing_f0_hz=_number(fit.landing_f0_hz),
        start_s=float(coarse.start_s),
        end_s=float(coarse.end_s),
        level_db=_number(fit.level_db),
        vibrato=VibratoHeard(vibrato.rate_hz, vibrato.extent_cents) if vibrato else None,
        string=hand[0],
        finger=hand[1],
        drift_cents_per_s=_number(fit.drift_cents_per_s),
        steadiness_cents=_number(fit.steadiness_cents),
        dropouts=tuple((float(a), float(b)) for a, b in fit.dropouts),
        track=_track(fit),
    )


def _track(fit: VoiceFit) -> Track | None:
    """The pitch every 50 ms, in cents from the settled pitch; ``None`` where it was lost."""
    good = np.isfinite(fit.track_hz) & (fit.track_hz > 0.0)
    if np.count_nonzero(good) < 2:
        return None
    time, cents = fit.track_s[good], in_cents(fit.track_hz[good] / fit.f0_hz)
    start = float(max(time[0], 0.0))
    grid = np.arange(start, time[-1] + 1e-9, TRACK_STEP_S)
    values = np.interp(grid, time, cents)
    near = np.abs(time[np.searchsorted(time, grid).clip(0, len(time) - 1)] - grid)
    lost = near > TRACK_GAP * TRACK_STEP_S
    return Track(
        start,
        TRACK_STEP_S,
        tuple(
            None if gone else round(float(value), 1)
            for value, gone in zip(values, lost, strict=True)
        ),
    )


def _interval(fit: IntervalFit, voices: Sequence[Voice]) -> HeardInterval:
    low, high = voices[fit.low], voices[fit.high]
    semitones = high.midi - low.midi
    named = interval_of_semitones(semitones) if 0 <= semitones <= 48 else None
    return HeardInterval(
        low=fit.low,
        high=fit.high,
        size_cents=float(fit.size_cents),
        uncertainty_cents=_number(fit.uncertainty_cents),
        landing_size_cents=_number(fit.landing_size_cents),
        beat_hz=beat_hz(low.f0_hz, high.f0_hz, named) if named else None,
        lock=_number(fit.lock),
        unsure_reason=fit.unsure_reason,
        end_size_cents=_number(fit.end_size_cents),
        moved_cents=_number(fit.moved_cents),
    )

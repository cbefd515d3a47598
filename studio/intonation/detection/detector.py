"""Which notes sound, and when: the steps in order.

See the package's own page for the conventions and the way through the modules.
"""

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np

from studio.intonation.detection import boundaries
from studio.intonation.detection.common_bow import under_common_bow
from studio.intonation.detection.decoding import best_path, stretches
from studio.intonation.detection.envelopes import strokes
from studio.intonation.detection.hypotheses import KEPT, MAX_VOICES, Hypotheses, best_hypotheses
from studio.intonation.detection.merging import resumed
from studio.intonation.detection.octaves import with_octaves
from studio.intonation.detection.rejection import plausible
from studio.intonation.detection.resampling import Sound, check_sound
from studio.intonation.detection.salience import grid_hz
from studio.intonation.detection.segments import (
    AROUND_S,
    Event,
    agree_on_edges,
    decided_again,
    distinct_readings,
    event_envelopes,
    joined,
    with_held_voices,
    without_moments,
    without_ringing,
)
from studio.intonation.detection.spectra import N_FFT, analyse, frame_power
from studio.intonation.detection.unisons import is_unison, with_unisons
from studio.intonation.model.sounding import Sounding, SoundingVoice

# Chosen on made clips and recorded notes:
HOP = 768  # samples at fs, about 35 ms
POOL = 2  # frames averaged into one step of the path, about 70 ms
BLOCK_STEPS = 400  # steps in memory at once, about 28 s
LOUD_PERCENTILE = 95  # of the steps' loudest partials: a clip's loud part
QUIET_BELOW_DB = 42.0  # below the clip's loud part: silence
QUIETEST_DB = -85.0  # re full scale, power of a frame's loudest partial: silence
SILENT_PRICE = 4.0  # clear peaks that notes cost in silence: twice a change of everything
SHORTEST_S = 0.13  # two steps: shorter is a moment of change
SHORTEST_PAIR_S = 0.18  # the same of two notes or more, which room and change make more easily
PAUSE_DB = 9.0  # a breath between two playings, in a room
FLOOR_HZ, TOP_HZ = 120.0, 3200.0  # fundamentals looked for: below a viola's C3 (131 Hz) tuned low
FLOOR_LEAST_HZ, TOP_MOST_HZ = 100.0, 4000.0  # what may be asked for: nothing is prepared beyond


def find_soundings(
    y: np.ndarray, sr: float, *, floor_hz: float = FLOOR_HZ, top_hz: float = TOP_HZ
) -> list[Sounding]:
    """Find everything that was played: single notes, double stops, chords.

    Parameters
    ----------
    y : np.ndarray, shape (n,), float
        Mono sound, full scale -1..1.
    sr : float
        Sample rate in Hz, 8,000 to 400,000.
    floor_hz, top_hz : float
        Range of fundamentals looked for. The default floor lies below a viola's C3 (131 Hz)
        tuned low.

    Returns
    -------
    list of Sounding
        In time order, not overlapping. Empty when nothing was played.

    Raises
    ------
    ValueError
        When the sound is not finite mono floats, or the range is empty or outside
        100 to 4,000 Hz.
    """
    y = check_sound(y, sr)
    if not FLOOR_LEAST_HZ <= floor_hz < top_hz <= TOP_MOST_HZ:
        raise ValueError(
            f"floor_hz is {floor_hz} and top_hz {top_hz}; need {FLOOR_LEAST_HZ:g} <= floor_hz < "
            f"top_hz <= {TOP_MOST_HZ:g}, e.g. {FLOOR_HZ:g} and {TOP_HZ:g}"
        )
    sound = Sound(y, sr)
    grid = grid_hz(floor_hz, top_hz)
    events = joined(under_common_bow(sound, decided_events(sound, grid)))
    events = joined(without_ringing(sound, events))
    events = joined(with_held_voices(sound, events))
    events = joined(with_unisons(sound, events))
    events = joined(with_octaves(sound, events, top_hz))
    events = _separate_playings(sound, events, PAUSE_DB)  # what was joined since over a pause
    events = resumed(sound, plausible(sound, _with_edges(sound, events)))
    return [_sounding(sound, e) for e in events]


def decided_events(sound: Sound, grid: np.ndarray) -> list[Event]:
    """Return what was heard, span by span, before it is asked what of it a bow drew."""
    hypotheses = _all_hypotheses(sound, grid)
    step_s = HOP * POOL / sound.fs
    events = _coarse_events(sound, hypotheses, step_s)
    events = without_moments(joined(events), SHORTEST_S)
    events = _separate_playings(sound, joined(events))
    return joined(decided_again(sound, events, grid, hypotheses, step_s))


def _coarse_events(sound: Sound, hypotheses: Hypotheses, step_s: float) -> list[Event]:
    late_s = 0.5 * HOP * (POOL - 1) / sound.fs  # the middle of a step's frames
    return [
        Event(
            max(0.0, late_s + (s.first - 0.5) * step_s),
            min(sound.duration_s, late_s + (s.last - 0.5) * step_s),
            s.f0_hz,
        )
        for s in stretches(hypotheses, best_path(hypotheses))
    ]


def _all_hypotheses(sound: Sound, grid: np.ndarray) -> Hypotheses:
    parts, loudness = [], []
    for power in _power_blocks(sound):
        spectra = analyse(power, sound.fs)
        parts.append(best_hypotheses(spectra, grid))
        loudness.append(spectra.peak_db.max(axis=1))
    if not parts:
        return Hypotheses(np.zeros((0, KEPT)), np.zeros((0, KEPT, MAX_VOICES)))
    cost = np.concatenate([p.cost for p in parts])
    f0 = np.concatenate([p.f0_hz for p in parts])
    loud = np.concatenate(loudness)
    limit = max(np.percentile(loud, LOUD_PERCENTILE) - QUIET_BELOW_DB, QUIETEST_DB)
    cost += SILENT_PRICE * (loud < limit)[:, None] * (f0 > 0.0).any(axis=2)
    return Hypotheses(cost, f0)


def _power_blocks(sound: Sound) -> Iterator[np.ndarray]:
    """Yield the power of steps, blocks of (steps, bins); step i is centred at i·HOP·POOL."""
    steps = int(np.ceil(sound.duration_s * sound.fs / (HOP * POOL)))
    for first in range(0, steps, BLOCK_STEPS):
        count = min(BLOCK_STEPS, steps - first)
        start = first * HOP * POOL - N_FFT // 2
        x = sound.read(start, (count * POOL - 1) * HOP + N_FFT)
        power = frame_power(x, HOP, sound.fs)
        yield power.reshape(count, POOL, -1).mean(axis=1)


def _separate_playings(sound: Sound, events: list[Event], least_db: float = 0.0) -> list[Event]:
    out: list[Event] = []
    for event in events:
        if is_unison(event.f0_hz):  # its beats are no strokes
            out.append(event)
            continue
        start_s, end_s = event.start_s - AROUND_S, event.end_s + AROUND_S
        level = strokes(sound, start_s, end_s, event.f0_hz)
        cuts = [
            event.start_s,
            *boundaries.playings(level, event.start_s, event.end_s, least_db),
            event.end_s,
        ]
        out += [
            replace(event, start_s=a, end_s=b, new_stroke=event.new_stroke or a > event.start_s)
            for a, b in pairwise(cuts)
        ]
    return out


def _with_edges(sound: Sound, events: list[Event]) -> list[Event]:
    for n, event in enumerate(events):
        env = event_envelopes(sound, events, n)
        event.voice_start_s = [
            boundaries.onset_s(db, env.time_s, event.start_s, event.end_s) for db in env.db
        ]
        event.voice_end_s = [
            boundaries.offset_s(db, env.time_s, event.end_s, event.start_s) for db in env.db
        ]
    agree_on_edges(events)
    return [e for e in events if e.length_s >= _shortest_s(e)]


def _shortest_s(event: Event) -> float:
    return SHORTEST_PAIR_S if len(event.f0_hz) > 1 and not event.common_bow else SHORTEST_S


def _sounding(sound: Sound, event: Event) -> Sounding:
    start_s, end_s = max(0.0, event.start_s), min(sound.duration_s, event.end_s)
    voices = tuple(
        SoundingVoice(
            float(f), float(np.clip(a, start_s, end_s)), float(np.clip(b, start_s, end_s))
        )
        for f, a, b in zip(event.f0_hz, event.voice_start_s, event.voice_end_s, strict=True)
    )
    return Sounding(
        start_s=start_s,
        end_s=end_s,
        voices=voices,
        confidence=float(1.0 - 0.5 * np.exp(-max(0.0, event.margin))),
        alternatives=distinct_readings(event),
        snr_db=event.snr_db,
        clipped=sound.clipped(start_s, end_s),
        doubt=event.doubt,
    )

"""From stretches to events: join, decide again from all of a note's sound, drop what only rings.

Conventions: an :class:`Event` spans ``start_s`` to ``end_s`` with voices ``f0_hz`` (V,) ascending.

Method
------
1. A stretch of a few frames between two others is a moment of change, not something played.
2. Each event is decided again from the mean power of its interior: longer averaging shows weak
   partials and hides the accidents of single frames.
3. A voice that sounded in the event before and has only been dying away since then is the room
   or an open string ringing on (both decay exponentially: a straight line in dB). It is taken out.
"""

from dataclasses import dataclass, field

import numpy as np

from studio.intonation.notes import bowed, edges
from studio.intonation.notes.audio import Sound
from studio.intonation.notes.envelopes import Envelopes, envelopes
from studio.intonation.notes.frames import N_FFT, Spectra, analyse, frame_power
from studio.intonation.notes.hypotheses import MAX_VOICES, best_hypotheses

POOL_HOP = 1024
POOL_MOST = 40  # frames pooled; more tell no more
RINGS_DB_PER_S = -14.0  # a bowed voice that fades this fast from its first moment is not bowed
SAME_CENTS = 60.0
LOYALTY = 0.4  # clear peaks: how much better another reading of the whole event must be


@dataclass(slots=True)
class Event:
    """Something that sounded.

    ``margin`` is how much dearer the next reading was, in clear peaks; ``new_stroke`` says that the
    bow began again on the notes before, so that the two must stay apart.
    """

    start_s: float
    end_s: float
    f0_hz: np.ndarray
    margin: float = 0.0
    snr_db: float = 0.0
    alternatives: list[tuple[float, ...]] = field(default_factory=list)
    doubt: str | None = None
    new_stroke: bool = False
    voice_start_s: list[float] = field(default_factory=list)
    voice_end_s: list[float] = field(default_factory=list)

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s


def same_notes(a: np.ndarray, b: np.ndarray) -> bool:
    """Say whether two sets of fundamentals are the same notes within ``SAME_CENTS``."""
    if len(a) != len(b):
        return False
    return bool((np.abs(1200.0 * np.log2(a / b)) < SAME_CENTS).all())


def has_note(voices: np.ndarray, f0: float) -> bool:
    return bool((np.abs(1200.0 * np.log2(voices / f0)) < SAME_CENTS).any())


def joined(events: list[Event], gap_s: float = 0.16) -> list[Event]:
    """Return events with neighbours of the same notes, no more than ``gap_s`` apart, made one."""
    out: list[Event] = []
    for event in events:
        last = out[-1] if out else None
        near = last is not None and event.start_s - last.end_s < gap_s and not event.new_stroke
        if near and same_notes(last.f0_hz, event.f0_hz):
            if event.length_s > last.length_s:
                last.f0_hz = event.f0_hz
            last.end_s = event.end_s
        else:
            out.append(event)
    return out


def without_moments(events: list[Event], shortest_s: float) -> list[Event]:
    """Return events without those shorter than ``shortest_s``."""
    return [e for e in events if e.length_s >= shortest_s]


def decided_again(sound: Sound, events: list[Event], grid: np.ndarray) -> list[Event]:
    """Decide every event again from its pooled interior; events with no note are dropped."""
    if not events:
        return []
    power = np.stack([_pooled_power(sound, e) for e in events])
    spectra = analyse(power, sound.fs)
    known = np.zeros((len(events), MAX_VOICES))
    for n, e in enumerate(events):
        known[n, : len(e.f0_hz)] = e.f0_hz
    found = best_hypotheses(spectra, grid, known)
    out = []
    for n, e in enumerate(events):
        order = found.cost[n].copy()
        readings = [f[f > 0.0] for f in found.f0_hz[n]]
        for h, reading in enumerate(readings):
            order[h] -= LOYALTY * same_notes(reading, e.f0_hz)
        rank = np.argsort(order)
        e.f0_hz = readings[rank[0]]
        e.margin = _margin(order[rank], [readings[r] for r in rank])
        e.alternatives = [tuple(readings[r]) for r in rank[1:4] if len(readings[r])]
        e.snr_db = float(spectra.peak_snr_db[n].max())
        e.f0_hz = _bowed_voices(spectra, n, e.f0_hz)
        if len(e.f0_hz):
            out.append(e)
    return out


def _bowed_voices(spectra: Spectra, n: int, f0_hz: np.ndarray) -> np.ndarray:
    """Return the voices that stand clear of the noise and are not struck strings."""
    clear = [f for f in f0_hz if bowed.clear_db(spectra, n, f) >= bowed.CLEAR_DB]
    struck = any(
        bowed.is_struck(spectra, n, f, np.array([g for g in clear if g != f])) for f in clear
    )
    return np.zeros(0) if struck else np.array(clear)


def _margin(cost: np.ndarray, readings: list[np.ndarray]) -> float:
    for c, reading in zip(cost[1:], readings[1:], strict=True):
        if not same_notes(reading, readings[0]):
            return float(c - cost[0])
    return 10.0


def _pooled_power(sound: Sound, event: Event) -> np.ndarray:
    trim = min(0.06, 0.2 * event.length_s)
    first = int((event.start_s + trim) * sound.fs)
    last = int((event.end_s - trim) * sound.fs)
    if last - first < N_FFT:
        first = (first + last - N_FFT) // 2
        last = first + N_FFT
    hop = max(POOL_HOP, (last - first - N_FFT) // POOL_MOST)
    power = frame_power(sound.read(first, last - first), hop, sound.fs)
    return power.mean(axis=0)


def event_envelopes(sound: Sound, events: list[Event], n: int, around_s: float = 0.3) -> Envelopes:
    """Return the envelopes of event n, clear of the notes of the events beside it."""
    event = events[n]
    beside = [
        e.f0_hz
        for e in events[max(0, n - 1) : n + 2]
        if e is not event and e.end_s > event.start_s - around_s < e.end_s + 10.0
    ]
    others = np.concatenate([*beside, np.zeros(0)])
    others = others[[not has_note(event.f0_hz, f) for f in others]] if len(others) else others
    return envelopes(sound, event.start_s - around_s, event.end_s + around_s, event.f0_hz, others)


def without_ringing(sound: Sound, events: list[Event]) -> list[Event]:
    """Return events without voices that only ring on from the event before."""
    out: list[Event] = []
    for n, event in enumerate(events):
        before = events[n - 1] if n else None
        if before is None or event.start_s - before.end_s > 0.3:
            out.append(event)
            continue
        held = [v for v, f in enumerate(event.f0_hz) if not has_note(before.f0_hz, f)]
        if len(held) < len(event.f0_hz):
            env = event_envelopes(sound, events, n)
            held = [
                v for v, f in enumerate(event.f0_hz) if v in held or not _only_rings(env, v, event)
            ]
        if held:
            event.f0_hz = event.f0_hz[held]
            out.append(event)
    return out


def _only_rings(env: Envelopes, v: int, event: Event) -> bool:
    """Say whether voice v dies away through the event and never rises again."""
    span = env.between(event.start_s, event.end_s)
    db, time_s = env.db[v, span], env.time_s[span]
    earlier = env.db[v, env.between(event.start_s - 0.3, event.start_s - 0.02)]
    falls = edges.slope_db_per_s(db, time_s) < RINGS_DB_PER_S
    rises = float(np.max(db - np.minimum.accumulate(db)))
    return bool(falls and rises < 5.0 and np.median(db) < np.median(earlier) - 3.0)

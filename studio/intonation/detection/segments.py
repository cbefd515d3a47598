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

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from studio.intonation.detection import boundaries, voicing
from studio.intonation.detection.envelopes import Envelopes, envelopes
from studio.intonation.detection.hypotheses import MAX_VOICES, Hypotheses, best_hypotheses
from studio.intonation.detection.resampling import Sound
from studio.intonation.detection.spectra import N_FFT, Spectra, analyse, frame_power
from studio.intonation.detection.spectral_evidence import CLEAR_DB, clear_db, is_struck, unfolded
from studio.intonation.percentiles import median
from studio.theory import as_ratio, in_cents

# Chosen on made clips and recorded notes:
POOL_HOP = 1024  # samples at the analysis rate: a quarter of a frame
POOL_MOST = 40  # frames pooled; more tell no more
TRIM_S, TRIM_SHARE = 0.06, 0.2  # off each end of an event that is pooled: its edges are coarse
JOIN_GAP_S = 0.16  # neighbours of the same notes no further apart are one: two steps of the path
INSIDE_S = 0.05  # off each end of an event, of the frames that must bear its reading out
RINGS_DB_PER_S = -18.0  # a room of 3 s; an open string rings about as long
RINGS_DROP_DB, RINGS_END_DROP_DB = 4.0, 7.0  # since before the event; by its last third
BEFORE_S, JUST_S = 0.3, 0.02  # before the event: from, to
RECENT_S = 0.35  # what stopped longer ago no longer rings loud enough to be taken for a note
RECENT_MOST = 3  # events before that may ring on
AROUND_S = 0.3  # of envelope on both sides of an event
SAME_CENTS = 60.0  # wide vibrato and slides stay one note
SAME_RATIO = as_ratio(SAME_CENTS)  # the same as a ratio of frequencies
HELD_ON_S = 0.06  # an end this close before the next beginning is that beginning
ADJOIN_S = 0.15  # nearer events are one line of sound
BESIDE_S = 10.0  # after the event, up to where one beside it is kept clear of: in effect, anywhere
STEADY_DB_PER_S = -3.0  # a held note falls no faster
# In clear peaks, as the costs of hypotheses:
DISSENT = 1.0  # how much the moments of an event weigh beside their mean
DISSENT_MOST = 2.0  # of one frame: one that is quite unlike must not decide
BRIEF_S = 0.4  # an event's mean spectrum is made of few frames
LOYALTY_BRIEF = 1.2  # the same for a brief event, whose mean spectrum tells little more
LONG_S, LOYALTY_LONG = 1.2, 0.8  # slides and vibrato leave a long event's mean two lines for one
LOYALTY = 0.4  # clear peaks: how much better another reading of the whole event must be
SURE_MARGIN = 10.0  # where no other reading is left
ALTERNATIVES = 3  # readings kept beside the first
LEAST_DOUBT = 1e-3  # of a chance, so that its margin stays finite


@dataclass(slots=True)
class Event:
    """Something that sounded.

    ``margin`` is how much dearer the next reading was, in clear peaks; ``new_stroke`` says that the
    bow began again on the notes before, so that the two must stay apart; ``common_bow`` that all
    its notes were surely drawn together (see ``common_bow``).
    """

    start_s: float
    end_s: float
    f0_hz: np.ndarray
    margin: float = 0.0
    snr_db: float = 0.0
    alternatives: list[tuple[float, ...]] = field(default_factory=list)
    doubt: str | None = None
    new_stroke: bool = False
    common_bow: bool = False
    voice_start_s: list[float] = field(default_factory=list)
    voice_end_s: list[float] = field(default_factory=list)

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s


def same_notes(a: np.ndarray, b: np.ndarray) -> bool:
    """Say whether two sets of fundamentals are the same notes within ``SAME_CENTS``."""
    if len(a) != len(b):
        return False
    return bool((np.abs(in_cents(a / b)) < SAME_CENTS).all())


def has_note(voices: np.ndarray, f0: float) -> bool:
    return bool((np.abs(in_cents(voices / f0)) < SAME_CENTS).any())


def joined(events: list[Event], gap_s: float = JOIN_GAP_S) -> list[Event]:
    """Return events with neighbours of the same notes, no more than ``gap_s`` apart, made one."""
    out: list[Event] = []
    for event in events:
        last = out[-1] if out else None
        if last is None or event.new_stroke or event.start_s - last.end_s >= gap_s:
            out.append(event)
        elif same_notes(last.f0_hz, event.f0_hz):
            if event.length_s > last.length_s:
                last.f0_hz = event.f0_hz
            last.end_s = event.end_s
            last.common_bow |= event.common_bow
        else:
            out.append(event)
    return out


def without_moments(events: list[Event], shortest_s: float) -> list[Event]:
    """Return events without those shorter than ``shortest_s``."""
    return [e for e in events if e.length_s >= shortest_s]


def decided_again(
    sound: Sound, events: list[Event], grid: np.ndarray, frames: Hypotheses, step_s: float
) -> list[Event]:
    """Decide every event again from its pooled interior; events with no note are dropped.

    ``frames`` are the hypotheses of the whole clip, one row per ``step_s``: a reading that the
    moments of the event do not bear out pays for it, so that a gliding voice, whose mean spectrum
    looks like several notes, stays one.
    """
    if not events:
        return []
    pooled = [_pooled_power(sound, e) for e in events]
    power = np.stack([p for p, _ in pooled])
    spectra = analyse(power, sound.fs)
    known = np.zeros((len(events), MAX_VOICES))
    for n, e in enumerate(events):
        known[n, : len(e.f0_hz)] = e.f0_hz
    found = best_hypotheses(spectra, grid, known)
    out = []
    for n, e in enumerate(events):
        order = found.cost[n].copy()
        rows = _rows(frames, e, step_s)
        loyalty = LOYALTY + LOYALTY_LONG * float(np.clip(e.length_s - LONG_S, 0.0, 1.0))
        loyalty = loyalty if e.length_s > BRIEF_S else LOYALTY_BRIEF
        readings = [f[f > 0.0] for f in found.f0_hz[n]]
        order -= loyalty * np.array([same_notes(reading, e.f0_hz) for reading in readings])
        order += DISSENT * _dissent(rows, found.f0_hz[n])
        rank = np.argsort(order)
        e.margin = _margin(order[rank], [readings[r] for r in rank])
        e.alternatives = [
            tuple(readings[r]) for r in rank[1 : ALTERNATIVES + 1] if len(readings[r])
        ]
        e.snr_db = float(spectra.peak_snr_db[n].max())
        e.f0_hz = _notes_bowed(spectra, n, readings[rank[0]], pooled[n][1])
        if len(e.f0_hz):
            out.append(e)
    return out


def distinct_readings(event: Event) -> tuple[tuple[float, ...], ...]:
    """Return the event's other readings as plain numbers, each set of notes once."""
    kept: list[np.ndarray] = [event.f0_hz]
    for reading in event.alternatives:
        notes = np.array(reading)
        if not any(same_notes(notes, k) for k in kept):
            kept.append(notes)
    return tuple(tuple(float(f) for f in k) for k in kept[1:])


def _rows(frames: Hypotheses, event: Event, step_s: float) -> Hypotheses:
    first = int(np.ceil((event.start_s + INSIDE_S) / step_s))
    last = max(first + 1, int((event.end_s - INSIDE_S) / step_s) + 1)
    first = min(first, len(frames.cost) - 1)
    return Hypotheses(frames.cost[first:last], frames.f0_hz[first:last])


def _dissent(rows: Hypotheses, readings: np.ndarray) -> np.ndarray:
    """Return how much dearer readings (R, V) are than the best in each frame, on average: (R,).

    No frame counts for more than ``DISSENT_MOST``.
    """
    heard, wanted = rows.f0_hz > 0.0, readings[:, None, None]
    ratio = np.maximum(rows.f0_hz, 1.0) / np.maximum(wanted, 1.0)  # (R, T, H, V)
    near = (ratio < SAME_RATIO) & (ratio > 1.0 / SAME_RATIO)
    same = ((heard == (wanted > 0.0)) & (~heard | near)).all(axis=3)
    least = np.where(same, rows.cost, np.inf).min(axis=2) - rows.cost.min(axis=1)
    return np.minimum(least, DISSENT_MOST).mean(axis=1)


def _notes_bowed(spectra: Spectra, n: int, reading: np.ndarray, slope: float) -> np.ndarray:
    """Return the notes of a reading, phantoms replaced, as far as a bow made them.

    Struck strings fade: what is heard as one note then must not become two bowed ones.
    """
    if len(reading) > 1 or slope > STEADY_DB_PER_S:
        reading = unfolded(spectra, n, reading)
    return _bowed_voices(spectra, n, reading, slope)


def _bowed_voices(spectra: Spectra, n: int, f0_hz: np.ndarray, slope_db_per_s: float) -> np.ndarray:
    """Return the voices that stand clear of the noise and are not struck strings."""
    clear = [f for f in f0_hz if clear_db(spectra, n, f) >= CLEAR_DB]
    struck = any(
        is_struck(spectra, n, f, np.array([g for g in clear if g != f]), slope_db_per_s)
        for f in clear
    )
    return np.zeros(0) if struck else np.array(clear)


def _margin(cost: np.ndarray, readings: list[np.ndarray]) -> float:
    for c, reading in zip(cost[1:], readings[1:], strict=True):
        if not same_notes(reading, readings[0]):
            return float(c - cost[0])
    return SURE_MARGIN


def _pooled_power(sound: Sound, event: Event) -> tuple[np.ndarray, float]:
    """Return the mean power of an event's interior, and how its level changes in dB/s."""
    trim = min(TRIM_S, TRIM_SHARE * event.length_s)
    first = int((event.start_s + trim) * sound.fs)
    last = int((event.end_s - trim) * sound.fs)
    if last - first < N_FFT:
        first = (first + last - N_FFT) // 2
        last = first + N_FFT
    hop = max(POOL_HOP, (last - first - N_FFT) // POOL_MOST)
    power = frame_power(sound.read(first, last - first), hop, sound.fs)
    level = 10.0 * np.log10(power.sum(axis=1) + 1e-14)
    slope = boundaries.slope_db_per_s(level, np.arange(len(level)) * hop / sound.fs)
    return power.mean(axis=0), slope


def event_envelopes(
    sound: Sound, events: list[Event], n: int, around_s: float = AROUND_S
) -> Envelopes:
    """Return the envelopes of event n, clear of the notes of the events beside it."""
    event = events[n]
    beside = [
        e.f0_hz
        for e in events[max(0, n - 1) : n + 2]
        if e is not event and e.end_s > event.start_s - around_s < e.end_s + BESIDE_S
    ]
    others = np.concatenate([*beside, np.zeros(0)])
    others = others[[not has_note(event.f0_hz, f) for f in others]] if len(others) else others
    return envelopes(sound, event.start_s - around_s, event.end_s + around_s, event.f0_hz, others)


def without_ringing(sound: Sound, events: list[Event]) -> list[Event]:
    """Return events without voices that only ring on from the events just before."""
    out: list[Event] = []
    for n, event in enumerate(events):
        lately = [
            e.f0_hz
            for e in events[max(0, n - RECENT_MOST) : n]
            if event.start_s - e.end_s < RECENT_S
        ]
        before = np.concatenate([*lately, np.zeros(0)])
        known = [len(before) > 0 and has_note(before, f) for f in event.f0_hz]
        if any(known) and not event.new_stroke and not event.common_bow:
            env = event_envelopes(sound, events, n)
            held = [v for v, old in enumerate(known) if not (old and _only_rings(env, v, event))]
            event.f0_hz = event.f0_hz[held]
        if len(event.f0_hz):
            out.append(event)
    return out


def _only_rings(env: Envelopes, v: int, event: Event) -> bool:
    """Say whether voice v has dropped since before the event and dies away through it."""
    span = env.between(event.start_s, event.end_s)
    db, time_s = env.db[v, span], env.time_s[span]
    before = env.between(event.start_s - BEFORE_S, event.start_s - JUST_S)
    earlier = median(env.db[v, before])
    drop = float(earlier - median(db))
    end_drop = float(earlier - median(db[-(len(db) // 3) - 1 :]))
    dropped = drop > RINGS_DROP_DB and end_drop > RINGS_END_DROP_DB
    return boundaries.slope_db_per_s(db, time_s) < RINGS_DB_PER_S and dropped


def agree_on_edges(events: list[Event]) -> None:
    """Set the spans of events from those of their voices, so that neighbours do not overlap.

    Where a voice goes on from one event into the next, the border is set by the voices
    that join or leave, not by the one that stays.
    """
    adjoin = [b.start_s - a.end_s < ADJOIN_S and not b.new_stroke for a, b in pairwise(events)]
    for n, event in enumerate(events):
        before = events[n - 1].f0_hz if n and adjoin[n - 1] else np.zeros(0)
        after = events[n + 1].f0_hz if n + 1 < len(events) and adjoin[n] else np.zeros(0)
        event.start_s = _edge(event.f0_hz, event.voice_start_s, before, event.start_s, min)
        event.end_s = _edge(event.f0_hz, event.voice_end_s, after, max(event.voice_end_s), max)
    for event, after_it, near in zip(events, events[1:], adjoin, strict=False):
        held_on = near and event.end_s > after_it.start_s - HELD_ON_S
        event.end_s = after_it.start_s if held_on else min(event.end_s, after_it.start_s)


def _edge(
    f0_hz: np.ndarray,
    times_s: list[float],
    beside: np.ndarray,
    coarse_s: float,
    choose: Callable[[list[float]], float],
) -> float:
    alone = [t for f, t in zip(f0_hz, times_s, strict=True) if not _in(beside, f)]
    if len(alone) == len(times_s):
        return choose(times_s)
    return min(alone) if alone else coarse_s


def _in(voices: np.ndarray, f0: float) -> bool:
    return len(voices) > 0 and has_note(voices, f0)


def with_held_voices(sound: Sound, events: list[Event]) -> list[Event]:
    """Return events without voices that no bow holds; what was thought stays an alternative."""
    for event in events:
        if event.common_bow:
            continue
        held = voicing.held_voices(sound, event.start_s, event.end_s, event.f0_hz, placed=False)
        if len(held) < len(event.f0_hz):
            event.alternatives.insert(0, tuple(float(f) for f in event.f0_hz))
            event.f0_hz, event.margin = held, 0.0
    return events


def chance_margin(chance: float) -> float:
    """Return the margin whose confidence (1 - exp(-margin) / 2) is this chance, at least 0."""
    return float(-np.log(np.clip(2.0 * (1.0 - chance), LEAST_DOUBT, 1.0)))

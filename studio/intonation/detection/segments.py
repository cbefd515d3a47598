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
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from studio.intonation.detection import (
    boundaries,
    bow_evidence,
    common_bow,
    just_chords,
    octaves,
    unisons,
    voicing,
)
from studio.intonation.detection.envelopes import Envelopes, envelopes
from studio.intonation.detection.hypotheses import MAX_VOICES, Hypotheses, best_hypotheses
from studio.intonation.detection.resampling import Sound
from studio.intonation.detection.spectra import N_FFT, Spectra, analyse, frame_power
from studio.theory import as_ratio, in_cents

POOL_HOP = 1024
POOL_MOST = 40  # frames pooled; more tell no more
RINGS_DB_PER_S = -18.0  # a room of 3 s; an open string rings about as long
RECENT_S = 0.35  # what stopped longer ago no longer rings loud enough to be taken for a note
SAME_CENTS = 60.0
HELD_ON_S = 0.06  # an end this close before the next beginning is that beginning
ADJOIN_S = 0.15  # nearer events are one line of sound
OCTAVE_CENTS = 75.0  # a size this near 1200 cents is an octave, to be tested as one
PEAKS_SHOW = 2.0  # log-odds for an octave whose upper note the peaks show by themselves
JUST_BROKEN = 1.5  # log-odds where both notes were played singly just before
BROKEN_WITHIN_S = 5.0
STEADY_DB_PER_S = -3.0  # a held note falls no faster
GHOST_DB = 20.0  # even partials this far above the odd: the lower note is not there
DISSENT = 1.0  # how much the moments of an event weigh beside their mean
BRIEF_S = 0.4
LOYALTY_BRIEF = 1.2  # the same for a brief event, whose mean spectrum tells little more
LONG_S, LOYALTY_LONG = 1.2, 0.8  # slides and vibrato leave a long event's mean two lines for one
LOYALTY = 0.4  # clear peaks: how much better another reading of the whole event must be


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


def joined(events: list[Event], gap_s: float = 0.16) -> list[Event]:
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
        for h, reading in enumerate(readings):
            order[h] -= loyalty * same_notes(reading, e.f0_hz)
            order[h] += DISSENT * _dissent(rows, reading)
        rank = np.argsort(order)
        e.margin = _margin(order[rank], [readings[r] for r in rank])
        e.alternatives = [tuple(readings[r]) for r in rank[1:4] if len(readings[r])]
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
    first = int(np.ceil((event.start_s + 0.05) / step_s))
    last = max(first + 1, int((event.end_s - 0.05) / step_s) + 1)
    first = min(first, len(frames.cost) - 1)
    return Hypotheses(frames.cost[first:last], frames.f0_hz[first:last])


def _dissent(rows: Hypotheses, reading: np.ndarray) -> float:
    """Return how much dearer a reading is than the best in each frame, on average, at most 2."""
    wanted = np.zeros(rows.f0_hz.shape[2])
    wanted[: len(reading)] = reading
    heard = rows.f0_hz > 0.0
    cents = np.abs(in_cents(np.maximum(rows.f0_hz, 1.0) / np.maximum(wanted, 1.0)))
    same = ((heard == (wanted > 0.0)) & (~heard | (cents < SAME_CENTS))).all(axis=2)
    least = np.where(same, rows.cost, np.inf).min(axis=1) - rows.cost.min(axis=1)
    return float(np.minimum(least, 2.0).mean())


def _notes_bowed(spectra: Spectra, n: int, reading: np.ndarray, slope: float) -> np.ndarray:
    """Return the notes of a reading, phantoms replaced, as far as a bow made them.

    Struck strings fade: what is heard as one note then must not become two bowed ones.
    """
    if len(reading) > 1 or slope > STEADY_DB_PER_S:
        reading = just_chords.unfolded(spectra, n, reading)
    return _bowed_voices(spectra, n, reading, slope)


def _bowed_voices(spectra: Spectra, n: int, f0_hz: np.ndarray, slope_db_per_s: float) -> np.ndarray:
    """Return the voices that stand clear of the noise and are not struck strings."""
    clear = [f for f in f0_hz if bow_evidence.clear_db(spectra, n, f) >= bow_evidence.CLEAR_DB]
    struck = any(
        bow_evidence.is_struck(
            spectra, n, f, np.array([g for g in clear if g != f]), slope_db_per_s
        )
        for f in clear
    )
    return np.zeros(0) if struck else np.array(clear)


def _margin(cost: np.ndarray, readings: list[np.ndarray]) -> float:
    for c, reading in zip(cost[1:], readings[1:], strict=True):
        if not same_notes(reading, readings[0]):
            return float(c - cost[0])
    return 10.0


def _pooled_power(sound: Sound, event: Event) -> tuple[np.ndarray, float]:
    """Return the mean power of an event's interior, and how its level changes in dB/s."""
    trim = min(0.06, 0.2 * event.length_s)
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


def under_common_bow(sound: Sound, events: list[Event]) -> list[Event]:
    """Return events with what one bow surely drew together made one event each.

    Of two runs that share an event, the surer one stands. A third note belongs to it where it
    was drawn together with both others.
    """
    runs = [(common_bow.log_odds(sound, run), run) for run in common_bow.pair_runs(events)]
    sure = sorted((r for r in runs if r[0] > common_bow.SURE), key=lambda r: -r[0])
    taken: dict[int, Event] = {}
    for odds, run in sure:
        common_bow.shorten_to_bow(sound, run, events)
        places = range(run.first, run.last + 1)
        if taken.keys().isdisjoint(places):
            pieces = events[run.first : run.last + 1]
            whole = _drawn_together(pieces, _with_companions(run, [r for _, r in sure]), odds)
            taken |= dict.fromkeys(places, whole)
    out = [taken.get(n, event) for n, event in enumerate(events)]
    return [e for n, e in enumerate(out) if n == 0 or e is not out[n - 1]]


def _with_companions(run: common_bow.PairRun, sure: list[common_bow.PairRun]) -> np.ndarray:
    """Return the run's notes and those drawn together with each of them most of the time."""
    voices = run.f0_hz
    beside = [r for r in sure if r is not run and _shared_s(r, run) > 0.5 * run.length_s]
    for f0 in run.others_hz:
        partners = np.array([g for r in beside for g in r.f0_hz if has_note(r.f0_hz, f0)])
        if len(partners) and all(has_note(partners, g) for g in voices):
            voices = np.sort(np.append(voices, f0))
    return voices[:MAX_VOICES]


def _shared_s(a: common_bow.PairRun, b: common_bow.PairRun) -> float:
    return min(a.end_s, b.end_s) - max(a.start_s, b.start_s)


def _drawn_together(pieces: list[Event], f0_hz: np.ndarray, odds: float) -> Event:
    """Return one event of the notes ``f0_hz`` in place of ``pieces``."""
    longest = max(pieces, key=lambda e: e.length_s)
    others = [tuple(float(f) for f in longest.f0_hz), *longest.alternatives]
    chance = 1.0 / (1.0 + np.exp(-odds))
    return replace(
        longest,
        start_s=pieces[0].start_s,
        end_s=pieces[-1].end_s,
        f0_hz=f0_hz,
        margin=max(longest.margin, chance_margin(chance)),
        alternatives=others,
        new_stroke=pieces[0].new_stroke,
        common_bow=True,
    )


def without_ringing(sound: Sound, events: list[Event]) -> list[Event]:
    """Return events without voices that only ring on from the events just before."""
    out: list[Event] = []
    for n, event in enumerate(events):
        lately = [e.f0_hz for e in events[max(0, n - 3) : n] if event.start_s - e.end_s < RECENT_S]
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
    earlier = np.median(env.db[v, env.between(event.start_s - 0.3, event.start_s - 0.02)])
    drop = float(earlier - np.median(db))
    end_drop = float(earlier - np.median(db[-(len(db) // 3) - 1 :]))
    return boundaries.slope_db_per_s(db, time_s) < RINGS_DB_PER_S and drop > 4.0 and end_drop > 7.0


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


def with_unisons(sound: Sound, events: list[Event]) -> list[Event]:
    """Return events with one note on two strings heard as two voices where their beats tell.

    Slow beats lower all partials at times, as a new stroke does: pieces of one note that touch
    are also asked together, unless each tells by itself.
    """
    out: list[Event] = []
    for event in events:
        if _is_one_series(event.f0_hz):
            _hear_unison(sound, event)
        last = out[-1] if out else None
        if last is not None and _is_piece_of(last, event):
            whole = replace(last, end_s=event.end_s, f0_hz=last.f0_hz[:1])
            if _hear_unison(sound, whole):
                out[-1] = whole
                continue
        out.append(event)
    return out


def _hear_unison(sound: Sound, event: Event) -> bool:
    beats, both = unisons.unison(sound, event.start_s, event.end_s, float(event.f0_hz[0]))
    if not beats.are_two_strings:
        return False
    event.alternatives = [tuple(float(f) for f in event.f0_hz), *event.alternatives]
    event.f0_hz, event.doubt = both, None
    event.margin = unisons.SURE_MARGIN * (beats.gain - unisons.GAIN)
    return True


def _is_piece_of(last: Event, event: Event) -> bool:
    """Say whether two events that touch may be one note cut by its own beats."""
    told = [is_unison(e.f0_hz) for e in (last, event)]
    series = [_is_one_series(e.f0_hz) or t for e, t in zip((last, event), told, strict=True)]
    touch = event.new_stroke and event.start_s - last.end_s < HELD_ON_S
    same = same_notes(last.f0_hz[:1], event.f0_hz[:1])
    return touch and same and all(series) and not all(told)


def is_unison(f0_hz: np.ndarray) -> bool:
    """Say whether two voices are one note on two strings."""
    return len(f0_hz) == 2 and bool(in_cents(f0_hz[1] / f0_hz[0]) < unisons.WIDEST_CENTS)


def _is_one_series(f0_hz: np.ndarray) -> bool:
    """Say whether all voices lie near multiples of the lowest: one note, or read as partials."""
    number = np.rint(f0_hz / f0_hz[0])
    if (number[1:] < 2.0).any():
        return False
    return bool((np.abs(in_cents(f0_hz / f0_hz[0] / number)) < SAME_CENTS).all())


def with_octaves(sound: Sound, events: list[Event], top_hz: float) -> list[Event]:
    """Decide every possible octave: upper notes added, refuted or left open (``doubt``)."""
    asked = [e for e in events if _may_be_octave(e, top_hz)]
    found = [(e, octaves.octave_signs(sound, e.start_s, e.end_s, float(e.f0_hz[0]))) for e in asked]
    told = [(e, signs, _evidence(e, signs, events)) for e, signs in found if signs is not None]
    prior = octaves.prior_log_odds(np.array([log_odds for _, _, log_odds in told]))
    for event, signs, log_odds in told:
        _decide_octave(event, signs, octaves.probability(log_odds + prior))
    return events


def _may_be_octave(event: Event, top_hz: float) -> bool:
    if len(event.f0_hz) == 1:
        return bool(2.0 * event.f0_hz[0] < top_hz)
    return len(event.f0_hz) == 2 and is_octave(event.f0_hz)


def is_octave(f0_hz: np.ndarray) -> bool:
    """Say whether two voices are near enough an octave to be tested as one."""
    return bool(abs(in_cents(f0_hz[1] / f0_hz[0]) - 1200.0) < OCTAVE_CENTS)


def _evidence(event: Event, signs: octaves.OctaveSigns, events: list[Event]) -> float:
    """Log-odds of an octave, with what else speaks for one.

    Where the peaks already show two notes, that counts; so does that both notes were just played,
    one after the other or as an octave: separately, then together, again and again, is how
    octaves are practised.
    """
    shown = PEAKS_SHOW * (len(event.f0_hz) == 2)
    return signs.log_odds + shown + JUST_BROKEN * _just_broken(event, events)


def _just_broken(event: Event, events: list[Event]) -> bool:
    lower = event.f0_hz[0]
    before = [e.f0_hz for e in events if 0.0 < event.start_s - e.start_s < BROKEN_WITHIN_S]
    if any(len(f0) == 2 and is_octave(f0) and has_note(f0[:1], lower) for f0 in before):
        return True
    singles = np.array([f0[0] for f0 in before if len(f0) == 1])
    if not len(singles):
        return False
    return has_note(singles, lower) and has_note(singles, 2.0 * lower)


def _decide_octave(event: Event, signs: octaves.OctaveSigns, chance: float) -> None:
    lower = float(event.f0_hz[0])
    both = event.f0_hz
    if len(both) == 1:
        both = np.array([lower, 2.0 * lower * as_ratio(signs.offset_cents)])
    elif signs.values[octaves.EXCESS] > GHOST_DB:
        event.f0_hz = both[1:]
        return
    if chance >= octaves.SURE:
        event.alternatives.insert(0, (lower,))
        event.f0_hz, event.margin = both, chance_margin(chance)
        return
    event.f0_hz = both[:1]
    event.margin = min(event.margin, chance_margin(1.0 - chance))
    if chance >= octaves.OPEN:
        event.alternatives.insert(0, tuple(float(f) for f in both))
        event.doubt = "octave_or_single"


def chance_margin(chance: float) -> float:
    """Return the margin whose confidence (1 - exp(-margin) / 2) is this chance, at least 0."""
    return float(-np.log(np.clip(2.0 * (1.0 - chance), 1e-3, 1.0)))

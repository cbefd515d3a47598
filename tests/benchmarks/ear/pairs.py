"""Clips of double stops whose cents are known exactly: six to a clip, apart from each other.

Notes are those of ``tests.intonation.estimation.tones``: added up from partials, or recorded bowed
notes resampled; :mod:`tests.benchmarks.ear.vibrato_notes` adds recorded notes with their player's
own vibrato. A clip is dry notes at their places, one room, one noise.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import resample_poly

from studio.intonation import Options
from tests.benchmarks.ear.degrade import CHANGES
from tests.benchmarks.ear.material import SR, Material, TrueEvent
from tests.intonation.estimation import tones
from tests.intonation.synth import SIZES

MADE_SR = SR // 2  # partials end below 11 kHz; the clip is brought to SR at last
EVENTS = 6
LEAD_S, TAIL_S = 0.4, 0.7
SETTLED_FROM_S = 0.2  # the pitch that counts is the one after this (tones.true_size)
MISTUNED_CENTS = 30.0
OCTAVE_CENTS = 40.0

Maker = Callable[..., tones.Voice]


@dataclass(frozen=True, slots=True)
class Pairs:
    """One set: what is played, and where it is recorded."""

    condition: str
    maker: Maker = tones.bowed_tone
    sizes: tuple[str, ...] = tuple(SIZES)
    low_hz: tuple[float, float] = (196.0, 700.0)
    length_s: tuple[float, float] = (0.6, 2.0)
    vibrato_cents: float = 0.0
    one_hand: bool = True
    balance_db: float = 0.0
    snr_db: float = 30.0
    rt60_s: float = 0.4
    instrument: str = "violin"
    wander_cents: float | None = None  # the maker's own where None


def material(which: Pairs, rng: np.random.Generator) -> Material:
    """One clip of ``which``."""
    played: list[tuple[float, list[tones.Voice]]] = []
    at_s = LEAD_S
    sizes = rng.permutation(which.sizes)
    for n in range(EVENTS):
        voices = _voices(which, rng, str(sizes[n % len(sizes)]))
        played.append((at_s, voices))
        at_s += len(voices[0].y) / MADE_SR + rng.uniform(0.25, 0.6)
    return Material(
        which.condition,
        _recorded(which, rng, played, at_s + TAIL_S),
        _truth(played),
        options=Options(instrument=which.instrument),
    )


def changed(which: Pairs, rng: np.random.Generator, change: str, twin: str) -> Material:
    """A clip of ``which`` after one of ``degrade.CHANGES``; ``twin`` tells the playing."""
    made = material(which, rng)
    made.y = CHANGES[change](rng, made.y)
    return replace(made, condition=change, twin=twin)


def _voices(which: Pairs, rng: np.random.Generator, size: str) -> list[tones.Voice]:
    low_hz = float(np.exp(rng.uniform(*np.log(which.low_hz))))
    size_cents = _mistuned(rng, size)
    length_s = float(rng.uniform(*which.length_s))
    voices = []
    rate, phase = rng.uniform(4.5, 6.5), rng.uniform(0.0, 6.28)
    for hz in (low_hz, low_hz * 2.0 ** (size_cents / 1200.0)):
        how: dict[str, float] = {}
        if which.wander_cents is not None:
            how["wander_cents"] = which.wander_cents
        if which.vibrato_cents:
            how["vibrato_cents"] = which.vibrato_cents * rng.uniform(0.85, 1.15)
            how |= {"vibrato_hz": rate, "vibrato_phase": phase + rng.normal(0.0, 0.3)}
        voices.append(which.maker(rng, hz, length_s, MADE_SR, **how))
        if not which.one_hand:
            rate, phase = rng.uniform(4.5, 6.5), rng.uniform(0.0, 6.28)
    softer = int(rng.integers(2)) if which.balance_db else 1
    voices[softer].level_db = which.balance_db or rng.uniform(-4.0, 4.0)
    return voices


def _mistuned(rng: np.random.Generator, size: str) -> float:
    if size == "unison":
        return float(rng.uniform(8.0, 50.0))
    if size == "octave":
        # Half of them nearly pure: those are the ones that hide.
        widest = 4.0 if rng.random() < 0.5 else OCTAVE_CENTS
        return SIZES["octave"] + float(rng.uniform(-widest, widest))
    return SIZES[size] + float(rng.uniform(-MISTUNED_CENTS, MISTUNED_CENTS))


def _recorded(
    which: Pairs,
    rng: np.random.Generator,
    played: Sequence[tuple[float, list[tones.Voice]]],
    length_s: float,
) -> np.ndarray:
    dry = np.zeros(round(length_s * MADE_SR))
    loud = np.zeros(len(dry), bool)
    for start_s, voices in played:
        first = round(start_s * MADE_SR)
        for voice in voices:
            dry[first : first + len(voice.y)] += voice.y * 10.0 ** (voice.level_db / 20.0)
            loud[first : first + len(voice.y)] = True
    wet = tones.room(rng, dry, MADE_SR, which.rt60_s)
    rms = np.sqrt(np.mean(np.square(wet[loud])))
    wet += rng.standard_normal(len(wet)) * rms * 10.0 ** (-which.snr_db / 20.0)
    y = resample_poly(wet, 2, 1)
    return y * rng.uniform(0.1, 0.8) / np.max(np.abs(y))


def _truth(played: Sequence[tuple[float, list[tones.Voice]]]) -> list[TrueEvent]:
    events = []
    for start_s, voices in played:
        start_s = round(start_s * MADE_SR) / MADE_SR
        end_s = start_s + len(voices[0].y) / MADE_SR
        mix = tones.Mix(np.zeros(0), MADE_SR, start_s, end_s, voices)
        begin, end = tones.held_part(mix, SETTLED_FROM_S)
        f0s = tuple(
            voice.f0_hz * 2.0 ** (tones.true_cents(mix, v, begin, end) / 1200.0)
            for v, voice in enumerate(voices)
        )
        size = tones.true_size(mix, settle_s=SETTLED_FROM_S)
        events.append(TrueEvent(start_s, end_s, f0s, size))
    return events

"""Measurements of simulated practice without any sound: what a listening might have heard.

The ear's mistakes are chosen, worse than the listening's own: events not heard, events that were
none, double stops cut in two, octaves heard as one note (with and without a doubt), a voice read an
octave off, strings that ring along, pitches and times a little off, an A4 a little off.
"""

from collections.abc import Sequence

import numpy as np

from studio.intonation.model.measurement import (
    Event,
    HeardInterval,
    Measurement,
    Reading,
    Reference,
    Voice,
    kind_of,
)
from studio.theory import spell
from tests.benchmarks.practising.walk import Sounded

UNHEARD, FALSE, CUT, HIDDEN, OCTAVE_OFF, RINGING = 0.02, 0.03, 0.03, 0.15, 0.01, 0.01
PITCH_CENTS, TIME_S, A4_CENTS = 2.0, 0.02, 3.0
A4_HZ = 440.0


def heard(played: Sequence[Sounded], rng: np.random.Generator) -> Measurement:
    """One noisy measurement of a walk."""
    events: list[Event] = []
    for each in played:
        if rng.random() < FALSE:
            at_s = each.start_s - 0.15
            pitch = 100.0 * float(rng.integers(57, 90)) + float(rng.uniform(-50, 50))
            events.append(_event([pitch], at_s, at_s + 0.12, confidence=0.5))
        if rng.random() >= UNHEARD:
            events += _one(each, rng)
    events.sort(key=lambda event: event.start_s)
    a4_hz = A4_HZ * 2.0 ** (float(rng.normal(0.0, A4_CENTS)) / 1200.0)
    numbered = [
        Event(
            number, *(getattr(event, name) for name in Event.__dataclass_fields__ if name != "id")
        )
        for number, event in enumerate(events)
    ]
    return Measurement(reference=Reference(a4_hz, A4_CENTS, "notes"), events=tuple(numbered))


def _one(each: Sounded, rng: np.random.Generator) -> list[Event]:
    cents = [one + float(rng.normal(0.0, PITCH_CENTS)) for one in each.cents]
    start_s = each.start_s + float(rng.normal(0.0, TIME_S))
    end_s = each.end_s + float(rng.normal(0.0, TIME_S))
    octave = len(cents) == 2 and abs(each.cents[1] - each.cents[0] - 1200.0) < 60.0
    if octave and rng.random() < HIDDEN:
        doubted = bool(rng.random() < 0.5)
        other = [cents] if doubted else []
        return [_event(cents[:1], start_s, end_s, doubted=doubted, other=other)]
    if rng.random() < OCTAVE_OFF:
        voice = int(rng.integers(len(cents)))
        cents[voice] += float(rng.choice([-1200.0, 1200.0]))
    if rng.random() < RINGING and len(cents) < 3:
        cents.append(100.0 * float(rng.choice([55, 62, 69, 76])))
    if rng.random() < CUT:
        middle_s = float(rng.uniform(start_s + 0.2, end_s - 0.2))
        first = cents if rng.random() < 0.5 else cents[:1]
        return [_event(first, start_s, middle_s), _event(cents, middle_s, end_s)]
    return [_event(cents, start_s, end_s)]


def _event(
    cents: Sequence[float],
    start_s: float,
    end_s: float,
    *,
    confidence: float = 0.95,
    doubted: bool = False,
    other: Sequence[Sequence[float]] = (),
) -> Event:
    cents = sorted(cents)
    voices = tuple(
        Voice(round(c / 100), str(spell(round(c / 100), None)), _hz(c), 1.0) for c in cents
    )
    return Event(
        id=0,
        kind=kind_of(len(cents)),
        start_s=start_s,
        end_s=max(end_s, start_s + 0.05),
        voices=voices,
        intervals=(HeardInterval(0, 1, cents[1] - cents[0], 1.0),) if len(cents) > 1 else (),
        confidence=confidence,
        alternatives=tuple(Reading(tuple(_hz(c) for c in each)) for each in other),
        doubt="octave_or_single" if doubted else None,
    )


def _hz(cents: float) -> float:
    return A4_HZ * 2.0 ** ((cents - 6900.0) / 1200.0)

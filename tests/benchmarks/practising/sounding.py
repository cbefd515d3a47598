"""Simulated practice as sound: recorded bowed notes at the pitches played, in a room, with talk."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from sample_media.bowing import SR, Stroke, perform
from tests.benchmarks.practising.walk import Pace, Sounded
from tests.intonation import synth

# Recorded notes are too short for longer ones where they have to be raised in pitch.
PACE = Pace(single_s=(0.5, 1.0), together_s=(0.9, 1.6))
LEAD_OUT_S = 0.8
TALK_AFTER_S = 1.6  # a rest at least this long may have words in it
TALK, TALK_LEVEL = 0.4, 0.05


def sound(
    played: Sequence[Sounded], rng: np.random.Generator, a4_hz: float | None = None
) -> np.ndarray:
    """The clip of a walk: mono float at ``SR`` Hz, A4 between 438 and 445 Hz."""
    a4_hz = float(rng.uniform(438.0, 445.0)) if a4_hz is None else a4_hz
    strokes = [
        Stroke(
            each.start_s,
            each.end_s,
            a4_hz * 2.0 ** ((cents - 6900.0) / 1200.0),
            float(rng.uniform(-3.0, 1.0)) if voice else 0.0,
        )
        for each in played
        for voice, cents in enumerate(each.cents)
    ]
    length_s = played[-1].end_s + LEAD_OUT_S
    y = perform(strokes, length_s, float(rng.uniform(22.0, 30.0)), int(rng.integers(2**31)))
    _talk(y, played, rng)
    return y


def _talk(y: np.ndarray, played: Sequence[Sounded], rng: np.random.Generator) -> None:
    """Words in some of the long rests."""
    for before, after in pairwise(played):
        rest_s = after.start_s - before.end_s
        if rest_s < TALK_AFTER_S or rng.random() > TALK:
            continue
        words = synth.speech_like(rng, rest_s - 0.8)
        words = TALK_LEVEL * words / max(1e-9, float(np.sqrt(np.mean(np.square(words)))))
        first = round((before.end_s + 0.4) * SR)
        y[first : first + len(words)] += words[: len(y) - first]

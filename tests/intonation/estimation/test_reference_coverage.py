"""The uncertainty of A4 covers the truth, over many performances of the sample clips' makers.

The performances are used as notes (no sound is made): their lower voices lie within 3 cents of
equal temperament, their upper ones where the planted deviations put them, and every pitch comes
with an error of 0.3 cents as the fit would have.
"""

import math

import numpy as np
import pytest

from sample_media.make import _playings
from sample_media.plans import (
    STEPS_OF,
    Plan,
    Step,
    interval_between,
    perform_plan,
    scale,
    tolerance_cents,
)
from studio.intonation import Options
from studio.intonation.estimation.reference_pitch import HeardNote, estimate
from studio.theory import Pitch

CLIPS = 120
KEYS = {"Bb major": 3, "G major": 3, "A major": 3, "D major": 4, "C major": 4, "Eb major": 4}
FIFTHS_FROM_A = {"G3": -2, "D4": -1, "A4": 0, "E5": 1}
ERROR_CENTS = 0.3


def performed(seed: int):
    """(A4 in Hz, events of a performance, generator)."""
    rng = np.random.default_rng(seed)
    key = list(KEYS)[rng.integers(len(KEYS))]
    apart = STEPS_OF[list(STEPS_OF)[rng.integers(len(STEPS_OF))]]
    degrees = int(rng.integers(4, 9))
    pitches = scale(key, KEYS[key], degrees + apart)
    steps = []
    for low, high in zip(pitches, pitches[apart:], strict=False):
        if (high.position - low.position, high.midi - low.midi) == (4, 6):
            continue  # a diminished fifth has no agreed size
        tolerance = tolerance_cents(interval_between(low, high)[0], "growing")
        cents = _playings(rng, tolerance, 0.5, ends_in_tune=bool(rng.random() < 0.5))
        steps.append(Step(str(low), str(high), cents, apart=bool(rng.random() < 0.7)))
    a4_hz = float(rng.uniform(435.0, 446.0))
    plan = Plan("take", "take", ".m4a", tuple(steps), seed, a4_hz=a4_hz, picture=False)
    return a4_hz, perform_plan(plan).events, rng


def with_open_strings(events, a4_hz, rng):
    """The same, every note at an open string's pitch played open on strings tuned by ear."""
    hz = {
        name: Pitch.parse(name).frequency(a4_hz)
        * 2.0 ** ((1.955 * fifths * rng.uniform() + rng.normal(0.0, 0.7)) / 1200.0)
        for name, fifths in FIFTHS_FROM_A.items()
    }
    return [
        e | {"f0_hz": [hz.get(name, f) for name, f in zip(e["pitches"], e["f0_hz"], strict=True)]}
        for e in events
    ]


def heard(events, rng) -> list[HeardNote]:
    found = []
    for number, event in enumerate(events):
        f0 = [f * 2.0 ** (rng.normal(0.0, ERROR_CENTS) / 1200.0) for f in event["f0_hz"]]
        length_s = event["end_s"] - event["start_s"]
        for voice, f in enumerate(f0):
            others = tuple(f0[:voice] + f0[voice + 1 :])
            found.append(HeardNote(number, voice, f, ERROR_CENTS, length_s, False, others))
    return found


@pytest.mark.parametrize("open_strings", [False, True], ids=["all_stopped", "open_strings"])
def test_a4_is_within_its_uncertainty_as_often_as_it_says_or_more(open_strings):
    ratios, errors = [], []
    for seed in range(CLIPS):
        a4_hz, events, rng = performed(seed)
        if open_strings:
            events = with_open_strings(events, a4_hz, rng)
        reference, _ = estimate(heard(events, rng), Options())
        errors.append(abs(1200.0 * math.log2(reference.a4_hz / a4_hz)))
        ratios.append(errors[-1] / reference.uncertainty_cents)
    assert np.mean(np.array(ratios) < 1.0) >= 0.63
    assert np.mean(np.array(ratios) < 2.0) >= 0.92
    assert np.median(errors) < 1.5
    assert max(errors) < 5.0

"""Octaves and unisons: voices whose every partial lies beside another voice's."""

import numpy as np
import pytest

from studio.intonation.estimation import measure_sounding
from tests.intonation.estimation import tones


def measured(event: tones.Mix, seed: int):
    return measure_sounding(
        event.y, event.sr, tones.coarse(np.random.default_rng(seed), event)
    ).intervals[0]


@pytest.mark.parametrize("off", [-35, -18, -8, 5, 12, 25, 40], ids=lambda c: f"octave{c:+d}c")
def test_a_mistuned_octave_is_right_within_half_a_cent(off):
    event = tones.pair(60 + off, 1200.0 + off, low_hz=220.0)
    tones.assert_cents(measured(event, 2).size_cents, tones.true_size(event), within=0.5)


def test_the_median_error_of_octaves_is_two_tenths_of_a_cent():
    errors = []
    for seed in range(16):
        size = 1200.0 + 4 * (seed - 8)
        event = tones.pair(300 + seed, size, low_hz=196 * 1.05**seed)
        errors.append(measured(event, seed).size_cents - tones.true_size(event))
    tones.assert_cents(float(np.median(np.abs(errors))), 0.0, within=0.2)


@pytest.mark.parametrize("off", [8, 15, 30], ids=lambda c: f"unison+{c}c")
def test_a_mistuned_unison_is_resolved(off):
    event = tones.pair(70 + off, float(off), low_hz=440.0, duration_s=1.5)
    tones.assert_cents(measured(event, 1).size_cents, tones.true_size(event), within=0.7)


def test_a_unison_too_close_to_resolve_is_unsure():
    event = tones.pair(3, 0.4, low_hz=293.7, duration_s=0.6, wander_cents=0.1)
    interval = measured(event, 1)
    assert interval.unsure_reason == "too_close"
    assert interval.uncertainty_cents is None

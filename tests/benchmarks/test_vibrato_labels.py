"""The labels of recorded vibrato, on a note whose movement is known."""

import numpy as np
import pytest

from tests.benchmarks.ear.vibrato_notes import follow

SR = 44_100


def shaken(f0_hz, extent_cents, extinguished=False):
    """Four partials under one vibrato; the second falls silent again and again, if asked."""
    t = np.arange(3 * SR) / SR
    cents = extent_cents * np.sin(2.0 * np.pi * 5.5 * t)
    phase = 2.0 * np.pi * np.cumsum(f0_hz * 2.0 ** (cents / 1200.0)) / SR
    second = np.maximum(np.sin(2.0 * np.pi * 5.5 * t + 1.0), 0.0) if extinguished else 1.0
    gains = (1.0, second, 0.4, 0.3)
    return sum(g * np.sin(k * phase) for k, g in enumerate(gains, 1)), cents


@pytest.mark.parametrize("extinguished", [False, True])
def test_the_label_follows_the_vibrato_and_its_mean(extinguished):
    y, cents = shaken(441.3, 20.0, extinguished)
    f0_hz, track, label_cents = follow(y, SR, 440.0)
    inner = slice(SR // 2, -SR // 2)
    heard = 1200.0 * np.log2(f0_hz / 441.3) + track
    assert np.mean(heard[inner]) == pytest.approx(np.mean(cents[inner]), abs=0.1)
    assert np.std(heard[inner] - cents[inner]) < 1.0
    assert label_cents < 1.5

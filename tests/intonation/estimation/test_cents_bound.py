"""The fit beside the Cramér-Rao bound, and the bound's formula beside the full Fisher matrix."""

import numpy as np
import pytest

from studio.intonation.estimation import measure_sounding
from studio.intonation.model.sounding import Sounding, SoundingVoice
from tests.intonation.estimation import cramer_rao, tones

AMPLITUDES = np.array([1.0, 0.6, 0.4, 0.3, 0.2, 0.2])


def test_the_closed_form_is_the_inverse_fisher_matrix_of_one_source():
    """Nielsen et al. 2017, Signal Processing 135, 188-197 (one tone: Rife & Boorstyn 1974)."""
    phases = np.random.default_rng(0).uniform(0, 6, (1, 6))
    covariance = cramer_rao.joint_covariance_cents(
        np.array([220.0]), AMPLITUDES[None], phases, 0.1, 8000, 0.9
    )
    closed = cramer_rao.harmonic_bound_cents(220.0, AMPLITUDES, 0.1, 8000, 0.9)
    assert np.sqrt(covariance[0, 0]) == pytest.approx(closed, rel=0.01)


def test_a_fifth_costs_no_more_than_two_single_notes_and_a_close_octave_does():
    phases = np.random.default_rng(1).uniform(0, 6, (2, 6))
    both = np.stack([AMPLITUDES, AMPLITUDES])

    def joint(ratio: float) -> float:
        f0 = np.array([220.0, 220.0 * ratio])
        return cramer_rao.interval_bound_cents(
            cramer_rao.joint_covariance_cents(f0, both, phases, 0.1, 8000, 0.9)
        )

    alone = np.hypot(
        cramer_rao.harmonic_bound_cents(220.0, AMPLITUDES, 0.1, 8000, 0.9),
        cramer_rao.harmonic_bound_cents(330.0, AMPLITUDES, 0.1, 8000, 0.9),
    )
    assert joint(1.51) == pytest.approx(alone, rel=0.03)
    assert joint(2 * 2 ** (1 / 1200)) > 1.15 * joint(2 * 2 ** (40 / 1200))


@pytest.mark.parametrize("noise_sd", [0.1, 1.0])
def test_in_white_noise_alone_the_error_is_within_three_times_the_bound(noise_sd):
    rng = np.random.default_rng(2)
    sr, f0 = 22050, np.array([220.0, 220.0 * 1.5])
    t = np.arange(int(1.2 * sr)) / sr
    errors = []
    for _ in range(12):
        phases = rng.uniform(0, 6, (2, 6))
        y = sum(
            AMPLITUDES[k] * np.cos(2 * np.pi * f * (k + 1) * t + phases[v, k])
            for v, f in enumerate(f0)
            for k in range(6)
        )
        y = 0.1 * (y + noise_sd * rng.standard_normal(len(t)))
        voices = tuple(SoundingVoice(f, 0.0, 1.2) for f in f0 * 2 ** (9 / 1200))
        fit = measure_sounding(y, sr, Sounding(0.0, 1.2, voices, 1.0))
        errors.append(fit.intervals[0].size_cents - 1200 * np.log2(1.5))
    covariance = cramer_rao.joint_covariance_cents(
        f0, np.stack([AMPLITUDES, AMPLITUDES]), phases, noise_sd, sr, 0.8
    )
    limit = cramer_rao.interval_bound_cents(covariance)
    tones.assert_cents(float(np.sqrt(np.mean(np.square(errors)))), 0.0, within=3 * limit)

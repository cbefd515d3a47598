"""The stated uncertainty covers the truth about as often as it says."""

import numpy as np
import pytest

from studio.intonation.estimation import measure_sounding
from tests.intonation.estimation import tones

SIZES = [315.6, 386.3, 498.0, 702.0, 813.7, 884.4, 1200.0, 1200.0, 1586.3]


@pytest.fixture(scope="module")
def ratios() -> np.ndarray:
    """Error over stated uncertainty of mixed events, shape (n,)."""
    values = []
    for seed in range(90):
        rng = np.random.default_rng(7000 + seed)
        maker = [tones.bowed_tone, tones.real_note][seed % 2]
        event = tones.pair(
            7000 + seed,
            float(rng.choice(SIZES) + rng.uniform(-30, 30)),
            low_hz=float(rng.uniform(180, 600)),
            duration_s=float(rng.uniform(0.6, 2.0)),
            maker=maker,
        )
        fit = measure_sounding(event.y, event.sr, tones.coarse(rng, event)).intervals[0]
        if fit.uncertainty_cents is not None:
            error = abs(fit.size_cents - tones.true_size(event))
            values.append(error / fit.uncertainty_cents)
    return np.array(values)


def test_nearly_every_event_is_measured(ratios):
    assert len(ratios) >= 80


def test_one_standard_deviation_covers_two_thirds(ratios):
    assert 0.60 <= np.mean(ratios < 1) <= 0.82


def test_two_standard_deviations_cover_nine_tenths(ratios):
    assert np.mean(ratios < 2) >= 0.88

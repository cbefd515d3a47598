"""Sound that is hard to measure: octaves under vibrato, short notes, unisons, lopsided tones."""

import numpy as np
import pytest

from studio.intonation.estimation import measure_sounding, uncertainty
from studio.intonation.estimation.basebands import cut, transform
from studio.intonation.estimation.goodness_of_fit import lopsided_cents
from studio.intonation.estimation.joint_fit import Basis, Problem, run
from tests.intonation.estimation import figures, tones


def errors(name: str, count: int, seed: int = 610_000) -> list[float | None]:
    """Errors in cents over a set of ``figures``; None where unsure."""
    row = next(row for row in figures.ROWS if row.name == name)
    found: list[float | None] = []
    for i in range(count):
        event = figures.event(row, seed + i)
        sounding = tones.coarse(np.random.default_rng(i), event, row.given_cents)
        fit = measure_sounding(event.y, event.sr, sounding).intervals[0]
        off = abs(fit.size_cents - abs(tones.true_size(event)))
        found.append(None if fit.uncertainty_cents is None else off)
    return found


@pytest.mark.parametrize(
    ("name", "median", "worst"),
    [
        ("short, 0.25 to 0.6 s", 0.3, 1.5),
        ("unisons 5 to 60 c, +-3 c given", 0.2, 1.0),
        ("one voice -20 dB", 0.2, 1.0),
        ("viola, from C3", 0.2, 1.0),
        ("high, to G7", 0.2, 1.5),
    ],
)
def test_hard_steady_sound_is_measured_to_tenths_of_a_cent(name, median, worst):
    measured = [error for error in errors(name, 6) if error is not None]
    assert len(measured) >= 5
    assert np.median(measured) <= median
    assert max(measured) <= worst


def test_octaves_under_vibrato_in_a_room_are_mostly_measured_and_then_right():
    found = errors("vibrato 15 c, octaves", 12)
    measured = [error for error in found if error is not None]
    assert len(measured) >= 6
    assert np.median(measured) <= 0.6
    assert sum(error > 2.0 for error in measured) <= 1


def single_tone(sideband: float) -> np.ndarray:
    """Partials of 300 Hz, each with one side line 6 Hz (20 in a thousand of f0) above it."""
    t = np.arange(22050) / 22050
    return sum(
        np.cos(2 * np.pi * 300 * k * t) / k + sideband / k * np.cos(2 * np.pi * (300 * k + 6) * t)
        for k in range(1, 6)
    )


@pytest.mark.parametrize(("sideband", "low", "high"), [(0.0, -0.02, 0.02), (0.2, 0.2, 2.5)])
def test_a_side_line_above_every_partial_makes_a_tone_lopsided(sideband, low, high):
    spectrum = transform(single_tone(sideband), 22050, 0.05, 0.95, 44.0)
    bands = cut(spectrum, np.array([300.0]), kmax=5, fmax_hz=5000.0, spread_cents=5.0)
    basis = Basis.make(bands.time_s, spectrum.length_s, 3.0, 3, 0.1, False)
    begun = np.zeros((1, len(basis.pitch)))
    fit = run(Problem.make(bands, basis, np.array([300.0]), begun, np.ones(1)), begun, 6)
    weights = np.cos(np.clip(bands.time_s / 0.4, -1, 1) * np.pi / 2) ** 2
    assert low <= lopsided_cents(fit, weights / weights.sum())[0] <= high


def test_more_disagreement_and_less_lock_state_a_larger_uncertainty():
    def seen(
        sandwich: float = 0.02,
        lock: float = 0.95,
        moving: bool = False,
        sway: float = 0.02,
        rest_db: float = -25.0,
    ) -> float:
        evidence = uncertainty.Evidence(
            sandwich, 0.01, lock, 0.5, 0.05, 0.9, 440.0, None, moving, sway, rest_db
        )
        return uncertainty.stated(evidence)

    assert seen(sandwich=0.2) > seen()
    assert seen(lock=0.3) > 2 * seen()
    assert seen(lock=0.3, moving=True) > seen(moving=True)
    assert seen(sway=0.2) > seen()
    assert seen(rest_db=-8.0) > seen()

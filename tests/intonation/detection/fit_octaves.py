"""Fit the octave test's logistic: run with ``python -m tests.intonation.detection.fit_octaves``.

Whole clips are heard; the signs of every note that is tested for an upper octave are kept beside
the truth; weights and bias are printed, ready for ``studio/intonation/detection/octaves.py``.
"""

import argparse
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.optimize import minimize

from studio.intonation.detection import find_soundings, octaves
from studio.intonation.model.sounding import Sounding
from tests.intonation.detection import measure, scenes
from tests.intonation.detection.scenes import Conditions, Scene
from tests.intonation.synth import SR, TrueSounding, cents

SETS: list[tuple[Callable[..., Scene], tuple[Any, ...], bool, int]] = [
    (scenes.octaves, (), False, 3),
    (scenes.octaves, (), True, 3),
    (scenes.line, (True,), False, 2),
    (scenes.line, (False,), False, 2),
    (scenes.line, (True,), True, 2),
    (scenes.scale, (), False, 1),
    (scenes.scale, (), True, 1),
]


def examples(seed: int, rounds: int) -> tuple[np.ndarray, np.ndarray]:
    """Return signs (N, SIGNS) and labels (N,) of the notes that were tested in made clips."""
    signs: list[np.ndarray] = []
    labels: list[bool] = []
    for n in range(rounds):
        for s, (make, args, real, times) in enumerate(SETS):
            for again in range(times):
                rng = np.random.default_rng([seed, n, s, again])
                where = scenes.random_conditions(rng)
                where = Conditions(where.t60_s, where.snr_db, real=real)
                for got, label in _heard(make(rng, where, *args)):
                    signs.append(got)
                    labels.append(label)
    return np.array(signs), np.array(labels)


def _heard(scene: Scene) -> list[tuple[np.ndarray, bool]]:
    tested: list[tuple[float, float, float, np.ndarray]] = []
    original = octaves.octave_signs

    def spy(sound: Any, start_s: float, end_s: float, f0_hz: float) -> octaves.OctaveSigns | None:
        got = original(sound, start_s, end_s, f0_hz)
        if got is not None:
            tested.append((start_s, end_s, f0_hz, got.values))
        return got

    octaves.octave_signs = spy
    try:
        find_soundings(scene.y, SR)
    finally:
        octaves.octave_signs = original
    pairs = [(_label(scene.truth, *t[:3]), t[3]) for t in tested]
    return [(values, label) for label, values in pairs if label is not None]


def _label(truth: list[TrueSounding], start_s: float, end_s: float, f0: float) -> bool | None:
    """Return True for an octave on f0, False for f0 alone, None for anything else."""
    span = Sounding(start_s, end_s, (), 1.0)
    best = max(truth, key=lambda t: measure.overlap_s(span, t))
    if measure.overlap_s(span, best) < 0.7 * (end_s - start_s):
        return None
    if abs(cents(best.f0s_hz[0] / f0)) > 40.0 or len(best.f0s_hz) > 2:
        return None
    if len(best.f0s_hz) == 1:
        return False
    return True if abs(cents(best.f0s_hz[1] / best.f0s_hz[0]) - 1200.0) < 75.0 else None


def logistic(x: np.ndarray, label: np.ndarray) -> tuple[np.ndarray, float]:
    """Return (weights, bias) of a logistic regression with a slight ridge."""
    mean, spread = x.mean(axis=0), x.std(axis=0) + 1e-9
    z = np.column_stack([(x - mean) / spread, np.ones(len(x))])
    sign = np.where(label, 1.0, -1.0)

    def loss(w: np.ndarray) -> tuple[float, np.ndarray]:
        m = sign * (z @ w)
        slope = -(sign / (1.0 + np.exp(m)))[:, None] * z
        ridge = 0.05 * np.append(w[:-1], 0.0)
        return float(np.logaddexp(0.0, -m).sum() + 0.5 * ridge @ w), slope.sum(axis=0) + ridge

    w = minimize(loss, np.zeros(z.shape[1]), jac=True).x
    weights = w[:-1] / spread
    return weights, float(w[-1] - weights @ mean)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=300)
    parser.add_argument("--rounds", type=int, default=12)
    options = parser.parse_args()
    x, label = examples(options.seed, options.rounds)
    weights, bias = logistic(x, label)
    chance = 1.0 / (1.0 + np.exp(-(x @ weights + bias)))
    print(f"{label.sum()} octaves, {(~label).sum()} single notes")
    for sure in (0.5, 0.7, 0.8, 0.9):
        found, false = (chance[label] > sure).mean(), (chance[~label] > sure).mean()
        print(f"above {sure}: {found:.1%} of octaves, {false:.1%} of single notes")
    print("WEIGHTS", np.round(weights, 4).tolist(), "BIAS", round(bias, 4))


if __name__ == "__main__":
    main()

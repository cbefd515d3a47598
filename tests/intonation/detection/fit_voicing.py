"""Fit the coefficients of ``studio.intonation.detection.voicing``: prints them, changes nothing.

``python -m tests.intonation.detection.fit_voicing --seed 7 --clips 10``. The voices are those that
listening comes upon: in clips made to order and of real notes a voice is *there* when its note
is played for most of the event, all voices of which are there; in talk, struck strings and
noise none is. Figures are cross-validated (five parts).
"""

import argparse
from collections.abc import Iterator

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import cross_val_predict
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from studio.intonation.detection import find_soundings, voicing
from studio.intonation.detection.resampling import Sound
from tests.intonation.detection import measure, scenes
from tests.intonation.synth import SR, TrueSounding, cents

Heard = tuple[float, float, np.ndarray, np.ndarray]  # start_s, end_s, f0_hz, signs


def voices_heard(y: np.ndarray) -> list[Heard]:
    """Return every double stop and chord that is asked about while listening to a clip."""
    asked: list[Heard] = []

    def record(
        sound: Sound, start_s: float, end_s: float, f0_hz: np.ndarray, *, placed: bool
    ) -> np.ndarray:
        if placed and len(f0_hz) > 1:
            signs = voicing.voice_signs(sound, start_s, end_s, f0_hz)
            asked.append((start_s, end_s, f0_hz, signs))
        return f0_hz

    usual, voicing.held_voices = voicing.held_voices, record
    try:
        find_soundings(y, SR)
    finally:
        voicing.held_voices = usual
    return asked


def there(heard: Heard, truth: list[TrueSounding]) -> np.ndarray:
    """Return 1 for voices whose note was played, 0 for those whose was not, -1 between."""
    start_s, end_s, f0_hz, _ = heard
    shares = np.zeros(len(f0_hz))
    for t in truth:
        shared = max(0.0, min(t.end_s, end_s) - max(t.start_s, start_s)) / (end_s - start_s)
        played = [any(abs(cents(f / g)) < 40.0 for g in t.f0s_hz) for f in f0_hz]
        shares += shared * np.array(played)
    labels = np.where(shares > 0.7, 1, np.where(shares < 0.25, 0, -1))
    if labels.min() < 1:
        labels[labels == 1] = -1
    return labels


def examples(seed: int, clips: int) -> Iterator[tuple[str, int, np.ndarray]]:
    """Yield (kind, label, signs) of every voice that can be judged."""
    for name, make in measure.sets(seed, clips).items():
        if name != "unisons":
            for scene in make():
                for heard in voices_heard(scene.y):
                    for label, signs in zip(there(heard, scene.truth), heard[3], strict=True):
                        yield name, int(label), signs
    for n in range(5 * clips):
        rng = np.random.default_rng([seed, n])
        for name, y in scenes.controls(rng, scenes.random_conditions(rng)).items():
            for heard in voices_heard(y):
                for signs in heard[3]:
                    yield name, 0, signs


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--clips", type=int, default=10)
    options = parser.parse_args()
    rows = [r for r in examples(options.seed, options.clips) if r[1] >= 0]
    rows = [r for r in rows if not np.isnan(r[2]).any()]
    kind, label = np.array([r[0] for r in rows]), np.array([r[1] for r in rows])
    signs = np.array([r[2] for r in rows])
    model = make_pipeline(StandardScaler(), LogisticRegression())
    chance = cross_val_predict(model, signs, label, cv=5, method="predict_proba")[:, 1]
    for lost in (0.001, 0.002, 0.005, 0.01):
        least = float(np.quantile(chance[label == 1], lost))
        false = set(kind[label == 0])
        kept = {k: float((chance[(kind == k) & (label == 0)] > least).mean()) for k in false}
        shown = " ".join(f"{k} {v:.1%}" for k, v in sorted(kept.items()) if v > 0.0)
        print(f"{lost:.1%} lost at log-odds {np.log(least / (1 - least)):.2f}; kept: {shown}")
    model.fit(signs, label)
    scale, fitted = model[0], model[1]
    weights = fitted.coef_[0] / scale.scale_
    print(len(label), "voices,", int(label.sum()), "there")
    print("WEIGHTS", dict(zip(voicing.SIGNS, np.round(weights, 3).tolist(), strict=True)))
    print("BIAS", round(float(fitted.intercept_[0] - weights @ scale.mean_), 3))


if __name__ == "__main__":
    main()

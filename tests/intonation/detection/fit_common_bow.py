"""Fit the coefficients of ``studio.intonation.detection.common_bow``: prints them, changes nothing.

``python -m tests.intonation.detection.fit_common_bow --seed 21 --clips 5``. The runs are those that
listening comes upon: in real playing with aligned scores, in clips made to order (quick strokes
of one bow, lines in which the strings ring on, a pulse under a melody, and the sets of
``measure``), in talk, struck strings and noise.

:func:`weights_without` leaves a player out, so that what is found of her playing was fitted on
others: the figures of real playing are made with it.
"""

import argparse
import csv
import subprocess
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from studio.intonation.detection import common_bow, detector
from studio.intonation.detection.resampling import Sound
from studio.intonation.detection.salience import grid_hz
from tests.intonation.detection import measure, scenes
from tests.intonation.detection.scenes import Conditions, Scene
from tests.intonation.synth import SR, TrueSounding, cents

REAL = Path(__file__).parents[2] / "benchmarks" / "real-playing"
PLAYERS = ("player-a", "player-b")
CHECKED = ("ok", "likely")
MADE_COUNTS = 1.0
REGULAR = 0.1  # C of the ridge
SEED, CLIPS = 21, 5
SAME_SEMITONES = 0.6
LEFT_OUT = ("unisons", "octaves any room", "octaves real")  # not asked by ``common_bow``

Label = Callable[[float, float, np.ndarray], int | None]


class Example(NamedTuple):
    """A run: where it was heard, 1 where one bow drew both notes, else 0, and its signs."""

    name: str
    label: int
    signs: np.ndarray


def _runs(sound: Sound, name: str, label: Label) -> Iterator[Example]:
    grid = grid_hz(120.0, 3200.0)
    for run in common_bow.pair_runs(detector.decided_events(sound, grid)):
        told = label(run.start_s, run.end_s, run.f0_hz)
        signs = common_bow.run_signs(sound, run)
        if told is not None and np.isfinite(signs).all():
            yield Example(name, told, signs)


def _rows(name: str) -> list[dict[str, Any]]:
    with (REAL / name).open(newline="") as file:
        rows: list[dict[str, Any]] = list(csv.DictReader(file))
    for row in rows:
        row |= {key: float(row[key]) for key in ("start_s", "end_s", "a4_hz")}
    return rows


def _decoded(file: str) -> np.ndarray:
    asked = ["ffmpeg", "-v", "error", "-i", str(REAL / file), "-ac", "1", "-ar", str(SR)]
    done = subprocess.run([*asked, "-f", "f32le", "-"], capture_output=True, check=True)
    return np.frombuffer(done.stdout, np.float32).astype(float)


def _shared_s(row: dict[str, Any], start_s: float, end_s: float) -> float:
    return float(min(end_s, row["end_s"]) - max(start_s, row["start_s"]))


def _by_score(file: str) -> Label:
    """Label runs by the aligned score: 1, 0, or None where it does not say."""
    pairs = [row for row in _rows("pairs.csv") if row["file"] == file]
    alone = [row for row in _rows("singles.csv") if row["after_chord"] == "0"]
    alone = [row for row in alone + _rows("single_line_stretches.csv") if row["file"] == file]

    def label(start_s: float, end_s: float, f0_hz: np.ndarray) -> int | None:
        for row in pairs:
            shared = _shared_s(row, start_s, end_s)
            if shared > 0.0 and _is_pair(f0_hz, row):
                both = row["check"] in CHECKED and len(row["struck"].split()) == 2
                enough = shared >= min(0.12, 0.5 * (row["end_s"] - row["start_s"]))
                return 1 if both and enough else None
            if shared > 0.3 * (end_s - start_s):
                return None
        share = max((_shared_s(row, start_s, end_s) for row in alone), default=0.0)
        return 0 if share > 0.8 * (end_s - start_s) else None

    return label


def _is_pair(f0_hz: np.ndarray, row: dict[str, Any]) -> bool:
    midi = 69.0 + 12.0 * np.log2(f0_hz / row["a4_hz"])
    written = np.array([int(row["midi_low"]), int(row["midi_high"])])
    return bool((np.abs(midi - written) < SAME_SEMITONES).all())


def _by_truth(truth: list[TrueSounding]) -> Label:
    def label(start_s: float, end_s: float, f0_hz: np.ndarray) -> int | None:
        both = apart = 0.0
        for t in truth:
            shared = max(0.0, min(end_s, t.end_s) - max(start_s, t.start_s))
            there = all(min(abs(cents(f / g)) for g in t.f0s_hz) < 50.0 for f in f0_hz)
            both, apart = both + shared * there, apart + shared * (not there)
        half = 0.5 * (end_s - start_s)
        if both > half or both > 0.2:
            return 1
        return 0 if both < 0.05 and apart > half else None

    return label


def _made(seed: int, clips: int) -> Iterator[tuple[str, Scene]]:
    for name, make in measure.sets(seed, clips).items():
        if name not in LEFT_OUT:
            yield from ((name, scene) for scene in make())
    for scene in (scenes.quick, scenes.quick_line, scenes.pulse):
        for n in range(4 * clips):
            rng = np.random.default_rng([seed, n, 17])
            where = Conditions(rng.uniform(0.4, 1.5), rng.uniform(15.0, 35.0), real=n % 2 == 1)
            yield scene.__name__, scene(rng, where)


@cache
def made_examples(seed: int = SEED, clips: int = CLIPS) -> tuple[Example, ...]:
    """Every run of made clips, talk, struck strings and noise."""
    found: list[Example] = []
    for name, scene in _made(seed, clips):
        found += _runs(Sound(scene.y, SR), name, _by_truth(scene.truth))
    for n in range(2 * clips):
        rng = np.random.default_rng([seed, n])
        for name, y in scenes.controls(rng, scenes.random_conditions(rng)).items():
            found += _runs(Sound(y, SR), name, lambda *_: 0)
    return tuple(found)


@cache
def real_examples(player: str) -> tuple[Example, ...]:
    """Every run of one player's movements that the score tells about."""
    files = sorted(path.name for path in REAL.glob(f"{player}-*.*"))
    found: list[Example] = []
    for file in files:
        found += _runs(Sound(_decoded(file), SR), file, _by_score(file))
    return tuple(found)


def fitted(real: tuple[Example, ...], made: tuple[Example, ...]) -> tuple[np.ndarray, float]:
    """Return weights (len(SIGNS),) and bias of the logistic function."""
    rows = (*real, *made)
    counts = np.r_[np.ones(len(real)), np.full(len(made), MADE_COUNTS)]
    model = make_pipeline(StandardScaler(), LogisticRegression(C=REGULAR, max_iter=3000))
    signs, label = np.array([r.signs for r in rows]), np.array([r.label for r in rows])
    model.fit(signs, label, logisticregression__sample_weight=counts)
    scale, logistic = model[0], model[1]
    weights = logistic.coef_[0] / scale.scale_
    return weights, float(logistic.intercept_[0] - weights @ scale.mean_)


@cache
def weights_without(player: str) -> tuple[np.ndarray, float]:
    """Return weights and bias as they would be had nobody heard ``player``."""
    others = [row for other in PLAYERS if other != player for row in real_examples(other)]
    return fitted(tuple(others), made_examples())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--clips", type=int, default=CLIPS)
    options = parser.parse_args()
    real = tuple(row for player in PLAYERS for row in real_examples(player))
    made = made_examples(options.seed, options.clips)
    for name, rows in (("real", real), ("made", made)):
        print(f"{name}: {len(rows)} runs, {sum(row.label for row in rows)} of one bow")
    for player in PLAYERS:
        weights, bias = weights_without(player)
        for row_name, rows in ((player, real_examples(player)), ("made", made)):
            odds = np.array([row.signs @ weights + bias for row in rows])
            label = np.array([row.label for row in rows])
            kept = (odds[label == 1] > common_bow.SURE).mean()
            false = (odds[label == 0] > common_bow.SURE).mean()
            print(f"fitted without {player}, on {row_name}: kept {kept:.1%}, false {false:.2%}")
    weights, bias = fitted(real, made)
    print("WEIGHTS", np.round(weights, 3).tolist())
    print("BIAS", round(bias, 3))


if __name__ == "__main__":
    main()

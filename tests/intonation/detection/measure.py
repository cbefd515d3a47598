"""Measure *which notes, and when*: run with ``python -m tests.intonation.detection.measure``.

Every figure is counted per true sounding. *Right*: the sounding that overlaps it most has the
same number of voices, each within 30 cents. *False pair*: two voices or more reported for over
0.15 s where one note, or none, sounded.
"""

import argparse
import json
import time
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np

from studio.intonation.detection import find_soundings
from studio.intonation.model.sounding import Sounding
from tests.intonation.detection import scenes
from tests.intonation.detection.scenes import Conditions, Scene
from tests.intonation.synth import SIZES, SR, TrueSounding, cents

NEAR_CENTS = 30.0


@dataclass
class Tally:
    """Counts for one row of the table."""

    truths: int = 0
    right: int = 0
    wrong: int = 0
    missed_voice: int = 0
    false_pairs: int = 0
    split: int = 0
    missed: int = 0
    onset_s: list[float] = field(default_factory=list)
    offset_s: list[float] = field(default_factory=list)
    voice_cents: list[float] = field(default_factory=list)


def overlap_s(a: TrueSounding | Sounding, b: TrueSounding | Sounding) -> float:
    return min(a.end_s, b.end_s) - max(a.start_s, b.start_s)


def same_notes(truth: TrueSounding, found: Sounding) -> bool:
    if len(found.voices) != len(truth.f0s_hz):
        return False
    return all(
        abs(cents(v.f0_hz / f)) < NEAR_CENTS
        for v, f in zip(found.voices, truth.f0s_hz, strict=True)
    )


def count(tally: Tally, truth: TrueSounding, found: list[Sounding]) -> None:
    """Add one true sounding to the tally."""
    tally.truths += 1
    near = [f for f in found if overlap_s(f, truth) > 0.05]
    if not near:
        tally.missed += 1
        return
    best = max(near, key=lambda f: overlap_s(f, truth))
    if same_notes(truth, best):
        tally.right += 1
        tally.split += sum(
            same_notes(truth, f) and f is not best and overlap_s(f, truth) > 0.1 for f in near
        )
        tally.onset_s.append(best.start_s - truth.start_s)
        tally.offset_s.append(best.end_s - truth.end_s)
        tally.voice_cents += [
            abs(cents(v.f0_hz / f)) for v, f in zip(best.voices, truth.f0s_hz, strict=True)
        ]
    elif len(best.voices) < len(truth.f0s_hz):
        tally.missed_voice += 1
    else:
        tally.wrong += 1
    if len(truth.f0s_hz) == 1:
        tally.false_pairs += any(len(f.voices) > 1 and _mostly_here(f, truth) for f in near)


def _mostly_here(found: Sounding, truth: TrueSounding) -> bool:
    shared = overlap_s(found, truth)
    return shared > 0.15 and shared > 0.5 * (found.end_s - found.start_s)


def measure(make: Iterable[Scene]) -> dict[str, Tally]:
    """Return tallies by kind over scenes."""
    tallies: dict[str, Tally] = defaultdict(Tally)
    for scene in make:
        found = find_soundings(scene.y, SR)
        for truth, kind in zip(scene.truth, scene.kinds, strict=True):
            count(tallies[kind], truth, found)
    return dict(tallies)


def pooled(tallies: dict[str, Tally]) -> dict[str, Tally]:
    """Return the same counts with all intervals but the octave as one row."""
    rows: dict[str, Tally] = defaultdict(Tally)
    for kind, t in tallies.items():
        row = rows["other sizes" if kind in SIZES and kind != "octave" else kind]
        for name in Tally.__dataclass_fields__:
            setattr(row, name, getattr(row, name) + getattr(t, name))
    return dict(rows)


def within(errors: list[float], limit: float = 0.05) -> float:
    return float(np.mean(np.abs(errors) <= limit)) if errors else float("nan")


def show(title: str, tallies: dict[str, Tally]) -> None:
    for kind, t in sorted(tallies.items()):
        print(
            f"{title:26s} {kind:18s} {t.right:4d}/{t.truths:<4d} {t.right / t.truths:6.1%} "
            f"wrong {t.wrong:3d} fewer {t.missed_voice:3d} missed {t.missed:3d} "
            f"false pairs {t.false_pairs:3d} split {t.split:3d}  "
            f"onset {within(t.onset_s):5.1%} offset {within(t.offset_s):5.1%} "
            f"coarse p95 {np.percentile(t.voice_cents or [0], 95):5.1f} c"
        )


def sets(seed: int, clips: int) -> dict[str, Callable[[], Iterable[Scene]]]:
    """Return every test set by name; each makes its clips from the seed."""
    quiet, loud = Conditions(), Conditions(snr_db=12.0)
    real = Conditions(t60_s=0.4, snr_db=25.0, real=True)
    aac = Conditions(0.5, 25.0, "aac", 64)
    opus = Conditions(0.5, 25.0, "libopus", 24)

    def many(scene: Callable[..., Scene], *args: object, where: Conditions | None = None):
        def make() -> Iterable[Scene]:
            for n in range(clips):
                rng = np.random.default_rng([seed, n])
                yield scene(rng, where or scenes.random_conditions(rng), *args)

        return make

    return {
        "pairs 30 dB": many(scenes.pairs, where=quiet),
        "pairs 12 dB": many(scenes.pairs, where=loud),
        "pairs any room": many(scenes.pairs),
        "pairs vibrato 20 c": many(scenes.pairs, 20.0),
        "pairs real": many(scenes.pairs, where=real),
        "pairs AAC 64k": many(scenes.pairs, where=aac),
        "pairs Opus 24k": many(scenes.pairs, where=opus),
        "octaves any room": many(scenes.octaves),
        "octaves real": many(scenes.octaves, where=real),
        "line legato": many(scenes.line),
        "line detached": many(scenes.line, False),
        "line real": many(scenes.line, where=real),
        "scale": many(scenes.scale),
        "scale real": many(scenes.scale, where=real),
        "joining": many(scenes.joining),
        "repeats": many(scenes.repeats),
        "held": many(scenes.held),
        "chords": many(scenes.chords),
        "unisons": many(scenes.unisons, where=quiet),
    }


def measure_controls(seed: int, clips: int) -> dict[str, int]:
    """Return the number of double stops reported in sounds that hold none, by kind."""
    reported: dict[str, int] = defaultdict(int)
    for n in range(clips):
        rng = np.random.default_rng([seed, n])
        for name, y in scenes.controls(rng, scenes.random_conditions(rng)).items():
            reported[name] += sum(len(f.voices) > 1 for f in find_soundings(y, SR))
    return dict(reported)


def measure_speed(seed: int) -> float:
    """Return seconds of sound per second of work, on a minute of scales."""
    rng = np.random.default_rng(seed)
    y = np.concatenate([scenes.scale(rng, Conditions()).y for _ in range(6)])
    find_soundings(y[: 5 * SR], SR)
    begin = time.process_time()
    find_soundings(y, SR)
    return len(y) / SR / (time.process_time() - begin)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1, help="other seeds make other clips")
    parser.add_argument("--clips", type=int, default=10, help="clips per set")
    parser.add_argument("--only", default="", help="sets whose name contains this")
    parser.add_argument("--by-size", action="store_true", help="a row for each interval")
    options = parser.parse_args()
    figures: dict[str, object] = {}
    for name, make in sets(options.seed, options.clips).items():
        if options.only in name:
            tallies = measure(make())
            show(name, tallies if options.by_size else pooled(tallies))
            figures[name] = {k: [t.right, t.truths] for k, t in tallies.items()}
    if options.only in "controls":
        figures["controls"] = measure_controls(options.seed, options.clips)
        print("double stops in controls:", figures["controls"])
    if options.only in "speed":
        figures["speed"] = round(measure_speed(options.seed), 1)
        print(f"speed: {figures['speed']} x real time")
    print(json.dumps(figures))


if __name__ == "__main__":
    main()

"""How well the drill is followed: ``deploy/measure follower [--quick] [--seed N]``.

Practice is simulated (``tests.benchmarks.practising.walk``): generated drills in all intervals, as
written or with only the double stops; repeats of notes and bars, going back, beginning again, bars
and separate notes left out, wrong notes corrected or not, other notes in between, pauses. A quarter
of the drills are told without manners and fingers, as other programs write a page.

Sets

* *sound*: played with recorded bowed notes in a room, A4 at 438 to 445 Hz, with talk in some of the
  pauses; heard by ``listen`` and then followed, nothing told of A4;
* *symbols*: measurements made up with an ear's mistakes (see ``practising.symbolic``), many more.

Definitions (fixed; a change of one makes earlier figures incomparable)

* **played**: everything played for a note of the drill, whole, in part or wrong. It is **found**
  where an event that overlaps it by half of the shorter has its note. **false**: an event that is
  given a note and overlaps nothing played for that note. **F1** = 2 found / (2 found + false + not
  found). In *symbols* what the made-up ear did not hear at all is not counted; in *sound* it is.
* **wrong F1**: of wrong notes, named as wrong for the right note of the drill. A wrong note that
  is a neighbour in the drill cannot be told from a slip of place; it counts all the same.
* **missed F1**: of the notes left out, by the rules of the follower applied to what was played.
* **timing**: onset of the event that found it less the true onset, absolute.
* **x listening**: processor time of ``listen`` for each second of processor time of ``follow``.

The last line printed is one JSON object with all figures.
"""

import argparse
import json
import multiprocessing
import os
import time
from dataclasses import asdict, dataclass, replace

import numpy as np

from sample_media.bowing import SR
from studio.intonation import Options, Policy, judge, listen
from studio.intonation.alignment import follow
from tests.benchmarks.practising.drills import drill, expected_notes, told
from tests.benchmarks.practising.scoring import Score, f1, score
from tests.benchmarks.practising.sounding import PACE, sound
from tests.benchmarks.practising.symbolic import heard
from tests.benchmarks.practising.walk import walk
from tests.intonation.heard import Clip

SEED = 20_262
CLIPS = {"sound": 40, "symbols": 1000}
QUICK_CLIPS = {"sound": 8, "symbols": 150}
PROCESSES = 2
INTERVALS = ("octaves", "sixths", "thirds", "tenths", "fourths", "fifths")
TARGET_F1, TARGET_TIMING_MS, TARGET_JUDGING_MS = 0.97, 60.0, 50.0
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


@dataclass(frozen=True, slots=True)
class Task:
    """One clip: which set, its number, the seed, and which interval, where that is fixed."""

    kind: str
    number: int
    seed: int


@dataclass(frozen=True, slots=True)
class Figures:
    """One line of the table. Times in ms, ``None`` where there is nothing to tell."""

    clips: int
    played: int
    f1: float
    precision: float
    recall: float
    wrong_f1: float
    missed_f1: float
    timing_median_ms: float | None = None
    timing_p90_ms: float | None = None
    times_listening: float | None = None


def clip_with_sound(number: int, seed: int) -> tuple[str, Score]:
    """Play, hear, follow and score one clip; with the interval of its drill."""
    rng = np.random.default_rng([seed, number])
    interval = INTERVALS[number % len(INTERVALS)]
    notes = expected_notes(drill(rng, pattern="scale", interval=interval, octaves=1))
    played = walk(notes, rng, PACE)
    y = sound(played, rng)
    begun = time.process_time()
    measurement = listen(y, SR, Options())
    listened = time.process_time()
    following = follow(measurement, told(notes, rng))
    followed = time.process_time()
    result = score(played, measurement, following)
    result.duration_s = len(y) / SR
    result.listening_s, result.following_s = listened - begun, followed - listened
    return interval, result


def clip_of_symbols(number: int, seed: int) -> tuple[str, Score]:
    """The same without sound, any drill."""
    rng = np.random.default_rng([seed, 1, number])
    notes = expected_notes(drill(rng))
    played = walk(notes, rng)
    measurement = heard(played, rng)
    following = follow(measurement, told(notes, rng))
    result = score(played, measurement, following, only_heard=True)
    return "", replace(result, onsets_s=[])  # its onsets are made up


def _done(task: Task) -> tuple[Task, str, Score]:
    make = clip_with_sound if task.kind == "sound" else clip_of_symbols
    return (task, *make(task.number, task.seed))


def _warm() -> None:
    """What loads at first use is not what is measured."""
    y = 0.1 * np.random.default_rng(0).standard_normal(2 * SR)
    follow(listen(y, SR, Options()), expected_notes(drill(np.random.default_rng(0))))


def run(seed: int, clips: dict[str, int]) -> dict[str, Figures]:
    """Every set, pooled; the sound also by interval."""
    os.environ.update(ONE_THREAD)
    tasks = [Task(kind, number, seed) for kind, count in clips.items() for number in range(count)]
    pooled: dict[str, tuple[Score, int]] = {}
    with multiprocessing.get_context("spawn").Pool(PROCESSES, _warm) as pool:
        for task, interval, result in pool.imap(_done, tasks):
            for name in (task.kind, *([f"sound, {interval}"] if interval else [])):
                total, count = pooled.get(name, (Score(), 0))
                total.add(result)
                pooled[name] = (total, count + 1)
    return {name: figures(total, count) for name, (total, count) in pooled.items()}


def figures(total: Score, clips: int) -> Figures:
    """The figures of pooled counts."""
    counts = total.counts
    found, false, lost = counts["found"], counts["false"], counts["not found"]
    off_ms = 1000.0 * np.abs(total.onsets_s) if total.onsets_s else None
    return Figures(
        clips=clips,
        played=found + lost,
        f1=f1(found, false, lost),
        precision=found / max(1, found + false),
        recall=found / max(1, found + lost),
        wrong_f1=f1(counts["wrong named"], counts["wrong falsely"], counts["wrong not named"]),
        missed_f1=f1(counts["missed named"], counts["missed falsely"], counts["missed not named"]),
        timing_median_ms=None if off_ms is None else float(np.median(off_ms)),
        timing_p90_ms=None if off_ms is None else float(np.percentile(off_ms, 90)),
        times_listening=total.listening_s / total.following_s if total.following_s else None,
    )


def cost_ms() -> dict[str, float]:
    """Least processor time for 2,000 events against the notes of a drill of two octaves."""
    rng = np.random.default_rng(0)
    notes = expected_notes(
        drill(
            rng,
            pattern="scale",
            interval="octaves",
            key="Bb major",
            octaves=2,
            direction="up_and_down",
            manner="separately_then_together",
        )
    )
    pairs = [note.pitches for note in notes if len(note.pitches) == 2]
    clip = Clip()
    for number in range(400):  # through the drill, again and again
        low, high = pairs[number % len(pairs)]
        clip.note(low).note(high).pair(low, high, 40).pair(low, high, 30).pair(low, high, 22)
    measurement = clip.done()
    following = follow(measurement, notes)
    jobs = {
        "follow_2000_events_ms": lambda: follow(measurement, notes),
        "judge_2000_events_with_score_ms": lambda: judge(measurement, Policy(), notes),
        "judge_2000_events_again_ms": lambda: judge(
            measurement, Policy(), notes, following=following
        ),
    }
    return {name: min(_cpu_ms(job) for _ in range(9)) for name, job in jobs.items()}


def _cpu_ms(job) -> float:
    begun = time.process_time()
    job()
    return 1000.0 * (time.process_time() - begun)


def table(found: dict[str, Figures], costs: dict[str, float]) -> str:
    """The figures as a person reads them."""
    head = (
        f"{'set':16} {'clips':>5} {'played':>7} {'F1':>7} {'prec.':>7} {'recall':>7} "
        f"{'wrong F1':>9} {'missed F1':>10} {'timing':>9} {'p90':>8} {'x listening':>12}"
    )
    rows = [head]
    for name, each in found.items():
        rows.append(
            f"{name:16} {each.clips:5d} {each.played:7d} {each.f1:7.4f} {each.precision:7.4f} "
            f"{each.recall:7.4f} {each.wrong_f1:9.3f} {each.missed_f1:10.3f} "
            f"{_ms(each.timing_median_ms):>9} {_ms(each.timing_p90_ms):>8} "
            f"{'–' if each.times_listening is None else f'{each.times_listening:.0f}':>12}"
        )
    rows += [f"{name.replace('_', ' ')}: {value:.1f}" for name, value in costs.items()]
    rows.append(
        f"wanted: F1 at least {TARGET_F1}, timing at most {TARGET_TIMING_MS:g} ms, judging with a "
        f"score at most {TARGET_JUDGING_MS:g} ms"
    )
    return "\n".join(rows)


def _ms(value: float | None) -> str:
    return "–" if value is None else f"{value:.1f} ms"


def main() -> None:
    """Measure, print the table and the figures."""
    parser = argparse.ArgumentParser(
        prog="deploy/measure follower", description=__doc__.split("\n", 1)[0]
    )
    parser.add_argument("--quick", action="store_true", help="few clips, under two minutes")
    parser.add_argument("--seed", type=int, default=SEED)
    given = parser.parse_args()
    found = run(given.seed, QUICK_CLIPS if given.quick else CLIPS)
    costs = cost_ms()
    print(table(found, costs))
    document = {
        "benchmark": "follower",
        "seed": given.seed,
        "quick": given.quick,
        "sets": {name: asdict(each) for name, each in found.items()},
        **costs,
    }
    print(json.dumps(_rounded(document), allow_nan=False))


def _rounded(value):
    if isinstance(value, float):
        return round(value, 4)
    if isinstance(value, dict):
        return {name: _rounded(each) for name, each in value.items()}
    return value


if __name__ == "__main__":
    main()

"""Hear the sets, two clips at a time, and gather the scores."""

import multiprocessing
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from tests.benchmarks.ear import real_run
from tests.benchmarks.ear.cost import ONE_THREAD
from tests.benchmarks.ear.hearing import OURS, hear
from tests.benchmarks.ear.material import SR, Material
from tests.benchmarks.ear.real_scoring import MovementScore
from tests.benchmarks.ear.scoring import ClipScore, score, score_frames
from tests.benchmarks.ear.sets import TestSet, all_sets, named
from tests.benchmarks.ear.vibrato_notes import NotesMissing, fetch

PROCESSES = 2
# pYIN runs at about the speed of the sound itself and follows one voice: a few sets tell enough.
PYIN_SETS = ("made, 30 dB", "recorded notes", "line legato", "line of recorded notes")
FULL_CLIPS = {"made, 30 dB": 6, "made, octaves, 30 dB": 3, "recorded notes": 6}
QUICK_SETS = (
    "made, 30 dB",
    "made, octaves, 30 dB",
    "recorded notes",
    "AAC 64 kbit/s",
    "vibrato 15 c",
    "line legato",
    "talk",
)


@dataclass(frozen=True, slots=True)
class Task:
    """One clip to be heard, and by whom besides us."""

    set_name: str
    number: int
    seed: int
    others: tuple[str, ...] = ()


@dataclass(slots=True)
class Scores:
    """All that was heard: ``ours`` by group; ``compared`` by listener, on the clips all heard.

    ``real``: whole movements of real playing, by listener.
    """

    ours: dict[str, list[ClipScore]] = field(default_factory=dict)
    compared: dict[str, list[ClipScore]] = field(default_factory=dict)
    real: dict[str, list[MovementScore]] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)


def run(seed: int, share: float, *, with_others: bool, made: bool = True) -> Scores:
    """Hear ``share`` of the full run's clips (0: the quick ones, which are always among them).

    ``with_others`` needs the libraries of the extra ``reference``. Without ``made`` clips, real
    playing is heard alone.
    """
    scores = Scores()
    sets = _sets(share, scores.missing) if made else []
    tasks = [task for each in sets for task in _tasks(each, seed, share, with_others)]
    played = real_run.tasks(quick=share == 0.0, with_others=with_others)
    os.environ.update(ONE_THREAD)
    with multiprocessing.get_context("spawn").Pool(PROCESSES, _warm, (with_others,)) as pool:
        movements = pool.imap_unordered(real_run.heard, played)  # the longest: they begin
        for done, (task, own, others) in enumerate(pool.imap(_heard, tasks), 1):
            scores.ours.setdefault(named(task.set_name).group, []).append(own)
            for name, found in others.items():
                scores.compared.setdefault(name, []).append(found)
            if sys.stderr.isatty() and done % 10 == 0:
                print(f"\r{done} of {len(tasks)} clips heard", end="", file=sys.stderr)
        for name, each in movements:
            scores.real.setdefault(name, []).extend(each)
    by_name = scores.real
    scores.real = {name: by_name[name] for name in real_run.LISTENERS if name in by_name}
    return scores


def _sets(share: float, missing: list[str]) -> list[TestSet]:
    """The sets that can be heard; what cannot is added to ``missing``."""
    sets = [each for each in all_sets() if each.count(share)]
    if any(each.name == "recorded, own vibrato" for each in sets):
        try:
            fetch()
        except NotesMissing as why:
            missing.append(f"recorded, own vibrato: {why}")
            sets = [each for each in sets if each.name != "recorded, own vibrato"]
    return sets


def _tasks(each: TestSet, seed: int, share: float, with_others: bool) -> Sequence[Task]:
    return [
        Task(each.name, n, seed, _others(each, n, share) if with_others else ())
        for n in range(each.count(share))
    ]


def _others(each: TestSet, number: int, share: float) -> tuple[str, ...]:
    """The reference listeners hear the first clips of all sets; of some sets if it is a share."""
    whole = share == 1.0
    if number >= (FULL_CLIPS.get(each.name, 1) if whole else 1):
        return ()
    if not whole and each.name not in QUICK_SETS:
        return ()
    names = ("Klapuri", "Basic Pitch")
    wanted = PYIN_SETS if whole else PYIN_SETS[::2]
    return (*names, "pYIN") if each.name in wanted else names


def _warm(with_others: bool) -> None:
    """What loads and compiles at first use is not what is measured."""
    rng = np.random.default_rng(0)
    clip = Material("warm-up", 0.1 * rng.standard_normal(2 * SR), [])
    hear(clip)
    if with_others:
        from tests.benchmarks.ear.references import LISTENERS

        for listener in LISTENERS.values():
            listener(clip)


def _heard(task: Task) -> tuple[Task, ClipScore, dict[str, ClipScore]]:
    clip = named(task.set_name).clip(task.number, task.seed)
    heard = hear(clip)
    compared = {}
    if task.others:
        from tests.benchmarks.ear.references import LISTENERS

        compared[OURS] = score_frames(clip, heard)
        for name in task.others:
            compared[name] = score_frames(clip, LISTENERS[name](clip))
    own = score(clip, heard)
    own.set_name = task.set_name
    return task, own, compared

"""Hear whole movements of real playing, each by each listener, as tasks for the pool of ``run``.

What the listening learns from these recordings, it is heard without when their player is judged
(``real.fitted_without``); not in the quick run, since fitting anew takes longer than hearing.
"""

from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import dataclass

from tests.benchmarks.ear import real
from tests.benchmarks.ear.hearing import OURS, Heard, hear
from tests.benchmarks.ear.material import Material
from tests.benchmarks.ear.real_scoring import (
    MovementScore,
    score_movement,
    score_ours,
    stretches_of_events,
    stretches_of_frames,
)

LISTENERS = (OURS, "Klapuri", "Basic Pitch", "pYIN")


@dataclass(frozen=True, slots=True)
class RealTask:
    """One movement and one listener; ``refit``: heard as fitted without its player."""

    movement: str
    listener: str
    refit: bool = False


def tasks(*, quick: bool, with_others: bool) -> list[RealTask]:
    """Every movement by every listener; quick: one movement by ours."""
    if quick:
        return [RealTask(name, OURS) for name in real.QUICK]
    names = reversed(LISTENERS) if with_others else (OURS,)  # the slowest first
    return [RealTask(movement, name, True) for name in names for movement in real.movements()]


def heard(task: RealTask) -> tuple[str, list[MovementScore]]:
    """The listener's name and its scores, one a setting."""
    clip = real.movement(task.movement)
    if task.listener == OURS:
        return OURS, [_ours(clip, refit=task.refit)]
    return task.listener, [
        _score(clip, answer, setting) for setting, answer in _answers(clip, task.listener)
    ]


def _ours(clip: Material, *, refit: bool) -> MovementScore:
    without = real.fitted_without(real.player_of(clip.condition)) if refit else nullcontext()
    with without:
        answer = hear(clip)
    labels = real.labels(clip.condition)
    result = _new(clip, answer.cpu_s, "")
    result.left_out = refit and real.leaves_players_out()
    score_movement(result, labels, stretches_of_events(answer.events), answer.frames)
    return score_ours(result, labels, clip.y, answer)


def _answers(clip: Material, listener: str) -> Sequence[tuple[str, Heard]]:
    from tests.benchmarks.ear import references

    if listener != "Basic Pitch":
        return [("", references.LISTENERS[listener](clip))]
    found = references.basic_pitch_at(clip, references.SWEEP)
    names = [f"onset {each.onset:g}, frame {each.frame:g}" for each in references.SWEEP]
    return list(zip(names, found, strict=True))


def _score(clip: Material, answer: Heard, setting: str) -> MovementScore:
    result = _new(clip, answer.cpu_s, setting)
    labels = real.labels(clip.condition)
    return score_movement(result, labels, stretches_of_frames(answer.frames), answer.frames)


def _new(clip: Material, cpu_s: float, setting: str) -> MovementScore:
    player = real.player_of(clip.condition)
    return MovementScore(clip.condition, player, clip.duration_s, cpu_s, setting)

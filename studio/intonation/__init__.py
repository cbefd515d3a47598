"""Hearing what was played, and judging it.

``listen`` turns sound into a :class:`Measurement` (what sounded, in hertz and cents); ``judge``
turns a measurement and a :class:`Policy` into a :class:`Judgement` (verdicts, runs and marks)
without touching the sound; ``analyse`` does both. Arrays in, plain values out: no files, no
Django.
"""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from studio.intonation.alignment import with_fingering
from studio.intonation.judging.judge import judge
from studio.intonation.model.judgement import Analysis, Judgement, Mark
from studio.intonation.model.measurement import ENGINE, SCHEMA, Measurement
from studio.intonation.model.options import LEVELS, Options, Policy
from studio.intonation.model.score_following import ExpectedNote, Following, Pin
from studio.intonation.schema import load_schema
from studio.intonation.wording.sentences import render, unsure_sentence

if TYPE_CHECKING:
    import numpy as np

__all__ = [
    "ENGINE",
    "LEVELS",
    "SCHEMA",
    "Analysis",
    "ExpectedNote",
    "Following",
    "Judgement",
    "Mark",
    "Measurement",
    "Options",
    "Pin",
    "Policy",
    "analyse",
    "judge",
    "listen",
    "load_schema",
    "render",
    "unsure_sentence",
]


def listen(
    y: "np.ndarray",
    sr: float,
    options: Options | None = None,
    *,
    on_progress: Callable[[float], None] | None = None,
) -> Measurement:
    """Hear single notes, double stops and silence, and measure them.

    Parameters
    ----------
    y : np.ndarray, shape (n,)
        Mono, float, -1 to 1.
    sr : float
        Samples per second, at least 8000.
    options : Options
        Instrument, string length and A4, as far as they are known.
    on_progress : callable
        Called now and then with the share done, 0 to 1. What it raises ends the listening.

    Returns
    -------
    Measurement

    Raises
    ------
    ValueError
        If ``y`` is not a one-dimensional array of finite numbers, or ``sr`` is too low.
    """
    # The numerical libraries load here, not with the package: judging needs none of them.
    from studio.intonation.listening import listen as hear

    return hear(y, sr, options or Options(), on_progress=on_progress)


def analyse(
    y: "np.ndarray",
    sr: float,
    options: Options | None = None,
    policy: Policy | None = None,
    score: Sequence[ExpectedNote] | None = None,
) -> Analysis:
    """``listen`` and ``judge`` in one; see there.

    With a score, the voices get the string and finger that it writes for them.
    """
    measurement = listen(y, sr, options)
    judgement = judge(measurement, policy or Policy(), score)
    if judgement.following is not None:
        measurement = with_fingering(measurement, judgement.following)
    return Analysis(measurement, judgement)

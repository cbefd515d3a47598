"""Takes of real bowed notes in which it is known which of two notes is off.

A take is a row of double stops. In each the *culprit* is ``upper``, ``lower`` or ``none``: that
note alone is moved away from where both would be in tune, by the run's deviation. Separately played
notes, where there are any, stand where they belong (*slipped*: the fault came with the second
note) or already carry the fault (*placed*).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sample_media.bowing import SR, Stroke, perform
from sample_media.plans import JUST, STEPS_OF, Pitch, interval_between, scale
from studio.theory import VIOLIN, openness

A4_HZ = 441.0
WANDER_CENTS = 3.0  # of the hand about equal temperament; a choice, not a measurement
SINGLE_S, TOGETHER_S = 0.9, 1.5
CULPRITS = ("upper", "lower", "none")
APART = ("slipped", "placed", "not")


@dataclass(frozen=True, slots=True)
class Planted:
    """One double stop of a take: its truth. ``levels_db`` are those of the two notes."""

    start_s: float
    end_s: float
    low: str
    high: str
    culprit: str
    apart: str
    deviation_cents: float
    levels_db: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Take:
    """Sound at ``SR`` and what is true of it."""

    y: np.ndarray
    sr: int
    planted: tuple[Planted, ...]


def _shifted(f0_hz: float, cents: float) -> float:
    return float(f0_hz * 2.0 ** (cents / 1200.0))


def take(
    seed: int, *, key: str = "Bb major", intervals: Sequence[str] = tuple(STEPS_OF), count: int = 10
) -> Take:
    """Bow ``count`` double stops up ``key``, culprits and deviations drawn from ``seed``."""
    rng = np.random.default_rng(seed)
    strokes: list[Stroke] = []
    planted: list[Planted] = []
    at_s = 0.8
    octave = 3 if key[0] in "GAB" else 4  # a violin's lowest note is G3
    for degree in rng.permutation(count):
        apart = STEPS_OF[str(rng.choice(list(intervals)))]
        pitches = scale(key, octave, count + STEPS_OF["tenths"])
        pair = (pitches[degree], pitches[degree + apart])
        if (apart, pair[1].midi - pair[0].midi) not in JUST:  # a tritone among the fifths
            pair = (pitches[degree], pitches[degree + STEPS_OF["octaves"]])
        at_s = _play(strokes, planted, pair, at_s, rng) + 0.7
    y = perform(strokes, at_s + 0.8, 27.0, seed)
    return Take(y, SR, tuple(planted))


def _play(
    strokes: list[Stroke],
    planted: list[Planted],
    pair: tuple[Pitch, Pitch],
    at_s: float,
    rng: np.random.Generator,
) -> float:
    culprit = str(rng.choice(CULPRITS, p=(0.4, 0.4, 0.2)))
    states = openness(pair[0].midi, pair[1].midi, VIOLIN.open_strings)
    if "open" in states:  # it cannot move, so it cannot be what moved
        culprit = "none" if culprit == "none" else CULPRITS[states.index("open")]
    apart = str(rng.choice(APART, p=(0.4, 0.3, 0.3)))
    off = 0.0 if culprit == "none" else float(rng.choice([-1, 1]) * rng.uniform(26.0, 45.0))
    _, ratio = interval_between(*pair)
    # Where both notes would be in tune: the wander and the just size shared between the two.
    size = 1200.0 * float(np.log2(float(ratio)))
    spread = size - 100.0 * (pair[1].midi - pair[0].midi)
    lean = spread * rng.uniform(-1.0, 0.0) + rng.uniform(-1, 1) * WANDER_CENTS
    right = (lean, lean + spread)
    wrong = (right[0] - off * (culprit == "lower"), right[1] + off * (culprit == "upper"))
    levels = (0.0, float(rng.uniform(-6.0, 3.0)))

    def f0(voice: int, cents: float) -> float:
        return _shifted(A4_HZ * 2.0 ** ((pair[voice].midi - 69) / 12.0), cents)

    if apart != "not":
        for voice in (0, 1):
            alone = (wrong if apart == "placed" else right)[voice] + rng.uniform(-1.5, 1.5)
            strokes.append(Stroke(at_s, at_s + SINGLE_S, f0(voice, alone), levels[voice]))
            at_s += SINGLE_S + 0.1
        at_s += 0.2
    for voice in (0, 1):
        strokes.append(Stroke(at_s, at_s + TOGETHER_S, f0(voice, wrong[voice]), levels[voice]))
    end_s = at_s + TOGETHER_S
    names = (str(pair[0]), str(pair[1]))
    planted.append(Planted(at_s, end_s, *names, culprit, apart, off, levels))
    return end_s

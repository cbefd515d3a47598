"""Clips without any double stop: not one mark about an interval may come from them."""

import numpy as np

from tests.benchmarks.ear.material import SR, Material, TrueEvent
from tests.intonation.detection import scenes

LENGTH_S = 8.0
QUIET = 3e-4  # a silent room's own noise, full scale 1
LINES = ("line legato", "line detached", "line of recorded notes")
SOUNDS = ("talk", "piano", "metronome", "noise", "silence")


def line(which: str, rng: np.random.Generator) -> Material:
    """A single line: whatever is heard as two notes at once is wrong."""
    where = scenes.random_conditions(rng)
    if which == "line of recorded notes":
        where = scenes.Conditions(t60_s=0.4, snr_db=25.0, real=True)
    scene = scenes.line(rng, where, which != "line detached")
    events = [TrueEvent(t.start_s, t.end_s, t.f0s_hz) for t in scene.truth]
    return Material(which, scene.y, events, runs=[])


def sound(which: str, rng: np.random.Generator) -> Material:
    """Eight seconds of something that is no bowed string at all."""
    return Material(which, _made(which, rng), [], runs=[])


def _made(which: str, rng: np.random.Generator) -> np.ndarray:
    count = round(LENGTH_S * SR)
    where = scenes.random_conditions(rng)
    if which == "silence":
        return QUIET * rng.standard_normal(count)
    return scenes.controls(rng, where)["speech" if which == "talk" else which]

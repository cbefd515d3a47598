"""Whole clips as pupils play them, with the marks a teacher expects; and clips without any.

The plans and the sound are those of ``sample_media``: degrees of a scale, each note apart and
then together as often as it takes, with recorded notes. Here also: hesitations (a note begun and
broken off), pauses, double stops alone, viola.
"""

from dataclasses import replace

import numpy as np

from sample_media.bowing import Stroke, perform
from sample_media.make import in_interval
from sample_media.plans import (
    CLEAR_CENTS,
    TOLERANCES,
    Performance,
    Plan,
    perform_plan,
)
from studio.intonation import Options, Policy
from tests.benchmarks.ear.degrade import CHANGES
from tests.benchmarks.ear.material import Material, TrueEvent, TrueRun

# Keys in which every step of the size has an agreed target, by interval: (key, octave).
KEYS = {
    "octaves": (("G major", 3), ("D major", 4), ("Bb major", 3), ("C minor", 4)),
    "sixths": (("Bb mixolydian", 3), ("G mixolydian", 3), ("D mixolydian", 4)),
    "thirds": (("Eb major", 4), ("G major", 4), ("D major", 4), ("A minor", 4)),
    "tenths": (("G major", 3), ("A major", 3), ("C major", 4)),
    "fifths": (("G major", 3), ("D major", 4), ("A major", 3)),
}
# The viola's keys start on its lowest string.
VIOLA_KEYS = {
    "octaves": (("C major", 3), ("D major", 3)),
    "sixths": (("C mixolydian", 3), ("D mixolydian", 3)),
    "thirds": (("F major", 3), ("G major", 3)),
    "tenths": (("C major", 3), ("D major", 3)),
    "fifths": (("C major", 3), ("D major", 3)),
}
PERFECT = ("octaves", "fifths")
# Farther off, an imperfect size lies between two names (sixth or seventh, major or minor), and
# nobody could say which was meant. The tolerances of ``first_steps`` leave it no room below that.
FARTHEST_CENTS = {True: 44.0, False: 30.0}
LEVELS = {True: tuple(TOLERANCES), False: ("growing", "advanced")}
DEGREES = 5
HESITATION_S = 0.3
THROUGH = ("clean", "clean", "AAC 64 kbit/s", "Opus 24 kbit/s", "gain control")


def scale(interval: str, instrument: str, rng: np.random.Generator) -> Material:
    """A scale in ``interval``: broken and together, with repeats, hesitations and pauses."""
    plan, options = _plan(interval, instrument, rng)
    made = perform_plan(plan)
    _hesitate(made, rng)
    y = perform(made.strokes, made.length_s, plan.snr_db, plan.seed)
    y = CHANGES[str(rng.choice(THROUGH))](rng, y)
    return Material(
        f"{interval}, {instrument}",
        y,
        [_event(event) for event in made.events],
        [_run(made, run) for run in made.runs],
        options,
        Policy(level=plan.level),
    )


def _plan(interval: str, instrument: str, rng: np.random.Generator) -> tuple[Plan, Options]:
    keys = (VIOLA_KEYS if instrument == "viola" else KEYS)[interval]
    key, octave = keys[int(rng.integers(len(keys)))]
    level = str(rng.choice(LEVELS[interval in PERFECT]))
    apart = bool(rng.random() < 0.7)
    steps = in_interval(
        key,
        octave,
        interval,
        [(0.0,)] * DEGREES,
        apart=apart,
        single_s=float(rng.uniform(0.6, 1.0)),
        together_s=float(rng.uniform(1.0, 1.9)),
    )
    steps = tuple(replace(step, deviations_cents=_playings(rng, interval, level)) for step in steps)
    plan = Plan(
        f"{interval}-{instrument}",
        f"{key} in {interval}",
        ".wav",
        steps,
        seed=int(rng.integers(2**31)),
        a4_hz=float(rng.uniform(438.0, 445.0)),
        snr_db=float(rng.uniform(20.0, 30.0)),
        level=level,
    )
    return plan, Options(instrument=instrument)


def _playings(rng: np.random.Generator, interval: str, level: str) -> tuple[float, ...]:
    """One run of up to four playings, better each time; its last is clearly in tune or out."""
    perfect = interval in PERFECT
    tolerance = TOLERANCES[level][0 if perfect else 1]
    side = float(rng.choice([-1.0, 1.0]))
    end = float(rng.uniform(0.0, tolerance - CLEAR_CENTS))
    if rng.random() < 0.5:
        end = float(rng.uniform(tolerance + CLEAR_CENTS + 0.1, FARTHEST_CENTS[perfect]))
    away = [end]
    for _ in range(int(rng.choice([0, 0, 1, 1, 2, 3]))):
        away.append(min(away[-1] + float(rng.uniform(6.0, 14.0)), FARTHEST_CENTS[perfect] + 10.0))
    return tuple(round(side * cents, 1) for cents in away[::-1])


def _hesitate(made: Performance, rng: np.random.Generator) -> None:
    """Before some events a pause, or one note begun and broken off."""
    pushed_s, first = 0.0, 0
    broken_off: list[Stroke] = []
    for event in made.events:  # its strokes come in the same order
        mine = slice(first, first + len(event["f0_hz"]))
        first = mine.stop
        kind = rng.choice(["none", "none", "none", "none", "pause", "false start"])
        if kind == "pause":
            pushed_s += float(rng.uniform(0.8, 2.5))
        elif kind == "false start" and event["kind"] == "double_stop":
            begun = _later(made.strokes[mine.start], pushed_s)
            broken_off.append(replace(begun, end_s=begun.start_s + HESITATION_S))
            pushed_s += HESITATION_S + 0.25
        made.strokes[mine] = [_later(stroke, pushed_s) for stroke in made.strokes[mine]]
        event["start_s"], event["end_s"] = event["start_s"] + pushed_s, event["end_s"] + pushed_s
    made.strokes += broken_off
    made.length_s += pushed_s


def _later(stroke: Stroke, by_s: float) -> Stroke:
    return replace(stroke, start_s=stroke.start_s + by_s, end_s=stroke.end_s + by_s)


def _event(event: dict) -> TrueEvent:
    return TrueEvent(
        event["start_s"], event["end_s"], tuple(event["f0_hz"]), event.get("size_cents")
    )


def _run(made: Performance, run: dict) -> TrueRun:
    last = made.events[run["events"][-1]]
    return TrueRun(last["start_s"], last["end_s"], run["code"])

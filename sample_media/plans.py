"""What is played in each sample clip, and the truth about it.

A plan is a list of *steps*: the notes of a double stop played separately, then together as
often as it takes, each playing with its deviation from the just interval in cents (wide is
positive). Performed, a plan gives strokes for :mod:`sample_media.bowing` and a truth document.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

import numpy as np

from sample_media.bowing import Stroke

LETTERS = "CDEFGAB"
NATURALS = dict(zip(LETTERS, (0, 2, 4, 5, 7, 9, 11), strict=True))
MODES = {
    "major": (0, 2, 4, 5, 7, 9, 11),
    "minor": (0, 2, 3, 5, 7, 8, 10),
    "mixolydian": (0, 2, 4, 5, 7, 9, 10),
}
JUST = {
    (0, 0): ("P1", Fraction(1)),
    (2, 3): ("m3", Fraction(6, 5)),
    (2, 4): ("M3", Fraction(5, 4)),
    (3, 5): ("P4", Fraction(4, 3)),
    (4, 7): ("P5", Fraction(3, 2)),
    (5, 8): ("m6", Fraction(8, 5)),
    (5, 9): ("M6", Fraction(5, 3)),
    (7, 12): ("P8", Fraction(2)),
    (9, 15): ("m10", Fraction(12, 5)),
    (9, 16): ("M10", Fraction(5, 2)),
}
STEPS_OF = {"thirds": 2, "fifths": 4, "sixths": 5, "octaves": 7, "tenths": 9}
# Default tolerances of the service: (perfect intervals, thirds and sixths), in cents.
TOLERANCES = {"first_steps": (25, 28), "growing": (15, 18), "advanced": (8, 12)}
CLEAR_CENTS = 7.0  # planted faults lie at least this far beyond the tolerance
BREATH_S = 0.3
LEAD_IN_S = 1.0
LEAD_OUT_S = 1.2


@dataclass(frozen=True, slots=True)
class Pitch:
    """A spelled pitch: letter, alteration in semitones, octave (C4 is middle C)."""

    letter: str
    alter: int
    octave: int

    @classmethod
    def parse(cls, name: str) -> "Pitch":
        """``Bb3`` -> Pitch("B", -1, 3)."""
        alter = name.count("#") - name[1:].count("b")
        return cls(name[0], alter, int(name.lstrip(LETTERS).lstrip("#b")))

    @property
    def midi(self) -> int:
        """MIDI note number, C4 = 60 (MIDI 1.0)."""
        return 12 * (self.octave + 1) + NATURALS[self.letter] + self.alter

    @property
    def position(self) -> int:
        """Staff steps above C0."""
        return 7 * self.octave + LETTERS.index(self.letter)

    def __str__(self) -> str:
        return self.letter + ("b" * -self.alter or "#" * self.alter) + str(self.octave)


@dataclass(frozen=True, slots=True)
class Step:
    """One degree: its pitches, whether they are first played apart, and each playing's cents."""

    low: str
    high: str | None = None
    deviations_cents: tuple[float, ...] = ()
    apart: bool = True
    single_s: float = 1.0
    together_s: float = 1.75


@dataclass(frozen=True, slots=True)
class Plan:
    """A clip to be: what is played and how it is filmed."""

    name: str
    title: str
    suffix: str
    steps: tuple[Step, ...]
    seed: int
    a4_hz: float = 441.0
    snr_db: float = 27.0
    level: str = "growing"
    turned_deg: int = 0
    picture: bool = True
    wander_cents: float = 3.0  # of the lower voice, about equal temperament


@dataclass(slots=True)
class Performance:
    """Strokes to be bowed and the truth about them."""

    strokes: list[Stroke] = field(default_factory=list)
    events: list[dict[str, Any]] = field(default_factory=list)
    runs: list[dict[str, Any]] = field(default_factory=list)
    length_s: float = 0.0


def interval_between(low: Pitch, high: Pitch) -> tuple[str, Fraction]:
    """Short name and just ratio."""
    key = (high.position - low.position, high.midi - low.midi)
    if key not in JUST:
        raise ValueError(f"{low}–{high} has no agreed just size here; use one of {sorted(JUST)}")
    return JUST[key]


def tolerance_cents(interval: str, level: str) -> int:
    """The service's default for ``interval`` at ``level``."""
    return TOLERANCES[level][0 if interval[0] == "P" else 1]


def scale(key: str, start_octave: int, count: int) -> list[Pitch]:
    """``count`` pitches upward from the tonic of ``key`` ("Bb major", "G minor")."""
    tonic_name, mode = key.split()
    tonic = Pitch.parse(f"{tonic_name}{start_octave}")
    pitches = []
    for degree in range(count):
        at = tonic.position + degree
        letter, octave = LETTERS[at % 7], at // 7
        midi = tonic.midi + 12 * (degree // 7) + MODES[mode][degree % 7]
        pitches.append(Pitch(letter, midi - Pitch(letter, 0, octave).midi, octave))
    return pitches


def perform_plan(plan: Plan) -> Performance:
    """Lay out every stroke in time. Deterministic for a plan."""
    rng = np.random.default_rng(plan.seed)
    made, at_s = Performance(), LEAD_IN_S
    for step in plan.steps:
        at_s = _perform_step(made, plan, step, at_s, rng)
    made.length_s = round(at_s + LEAD_OUT_S, 1)
    return made


def _perform_step(
    made: Performance, plan: Plan, step: Step, at_s: float, rng: np.random.Generator
) -> float:
    low = Pitch.parse(step.low)
    equal_hz = plan.a4_hz * 2 ** ((low.midi - 69) / 12)
    low_hz = equal_hz * 2 ** (rng.uniform(-1, 1) * plan.wander_cents / 1200)
    if step.high is None:
        _add(made, at_s, step.single_s, [low], [low_hz], rng)
        return at_s + step.single_s + 0.06
    high = Pitch.parse(step.high)
    interval, ratio = interval_between(low, high)
    if step.apart:
        near = rng.uniform(-3, 3)
        high_hz = low_hz * float(ratio) * 2 ** (near / 1200)
        for pitch, f0_hz in ((low, low_hz), (high, high_hz)):
            length_s = step.single_s * rng.uniform(0.92, 1.08)
            _add(made, at_s, length_s, [pitch], [f0_hz], rng)
            at_s += length_s + 0.08
        at_s += BREATH_S * 0.6
    run_id, ids = len(made.runs), []
    for deviation in step.deviations_cents:
        length_s = step.together_s * rng.uniform(0.9, 1.1)
        high_hz = low_hz * float(ratio) * 2 ** (deviation / 1200)
        ids.append(len(made.events))
        _add(made, at_s, length_s, [low, high], [low_hz, high_hz], rng)
        target = 1200 * float(np.log2(float(ratio)))
        made.events[-1] |= {
            "interval": interval,
            "size_cents": round(target + deviation, 3),
            "target_cents": round(target, 3),
            "deviation_cents": deviation,
            "run": run_id,
        }
        at_s += length_s + BREATH_S * rng.uniform(0.8, 1.2)
    made.runs.append(_run(run_id, ids, interval, (low, high), step.deviations_cents, plan.level))
    return at_s + BREATH_S * 0.5


def _add(
    made: Performance,
    start_s: float,
    length_s: float,
    pitches: list[Pitch],
    f0_hz: list[float],
    rng: np.random.Generator,
) -> None:
    start_s, end_s = round(start_s, 3), round(start_s + length_s, 3)
    for voice, f0 in enumerate(f0_hz):
        level_db = float(rng.uniform(-3.0, 1.0)) if voice else 0.0
        made.strokes.append(Stroke(start_s, end_s, f0, level_db))
    made.events.append(
        {
            "id": len(made.events),
            "kind": "single" if len(pitches) == 1 else "double_stop",
            "start_s": start_s,
            "end_s": end_s,
            "pitches": [str(pitch) for pitch in pitches],
            "midi": [pitch.midi for pitch in pitches],
            "f0_hz": [round(f0, 4) for f0 in f0_hz],
            "run": None,
        }
    )


def _run(
    run_id: int,
    ids: list[int],
    interval: str,
    pitches: tuple[Pitch, Pitch],
    deviations: tuple[float, ...],
    level: str,
) -> dict[str, Any]:
    tolerance, first, last = tolerance_cents(interval, level), deviations[0], deviations[-1]
    marked = abs(last) > tolerance
    if tolerance - CLEAR_CENTS < abs(last) < tolerance + CLEAR_CENTS:
        bounds = f"{tolerance - CLEAR_CENTS:g} at most, or {tolerance + CLEAR_CENTS:g} at least"
        raise ValueError(f"a run ends {last:+g} cents off, which is unclear; use {bounds}")
    moved = abs(first) - abs(last)
    return {
        "id": run_id,
        "events": ids,
        "interval": interval,
        "pitches": [str(pitch) for pitch in pitches],
        "deviations_cents": list(deviations),
        "first_cents": first,
        "last_cents": last,
        "trend": "better" if moved > 5 else "worse" if moved < -5 else "same",
        "mark_expected": marked,
        "code": ("interval_wide" if last > 0 else "interval_narrow") if marked else None,
    }


def truth(plan: Plan, made: Performance, file_name: str) -> dict[str, Any]:
    """The truth document: times are those of the playable copy, cents are exact."""
    names = sorted({run["interval"] for run in made.runs})
    return {
        "clip": plan.name,
        "title": plan.title,
        "file": file_name,
        "duration_s": made.length_s,
        "a4_hz": plan.a4_hz,
        "snr_db": plan.snr_db,
        "level": plan.level,
        "tolerance_cents": {name: tolerance_cents(name, plan.level) for name in names},
        "events": made.events,
        "runs": made.runs,
    }

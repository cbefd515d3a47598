"""Figures that must not get worse, and how much each varies by chance.

A change of the engine makes every error anew, as another seed would; so a figure that moves no
more than it does between seeds says nothing. A full run holds each set's quick clips (its first
ones) and several times as many more, each from a seed of its own: drawing as many of them as the
quick run hears, again and again, shows what the figures of other seeds would be (the bootstrap;
Efron 1979, *Ann. Statist.* 7(1), 1-26). Of real playing the quick run hears one movement: drawn are
its pairs. ``results/intonation-noise.json`` holds for each guarded
figure its value on the quick clips, and mean and standard deviation over such draws. It may fall
three deviations and a grain below the worse of value and mean: a value that happened to be lucky
would else be lost by any change.
"""

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.benchmarks.ear import figures, real
from tests.benchmarks.ear.hearing import OURS
from tests.benchmarks.ear.real_scoring import MovementScore
from tests.benchmarks.ear.real_summary import point
from tests.benchmarks.ear.run import Scores
from tests.benchmarks.ear.scoring import ClipScore, EventScore
from tests.benchmarks.ear.sets import all_sets
from tests.benchmarks.ear.summary import mark_row, pair_row, single_row

NOISE = Path(__file__).parents[1] / "results" / "intonation-noise.json"
# Of some 35 figures, three deviations let one be passed by chance once in about twenty changes of
# unchanged quality; more would hide a loss.
DEVIATIONS = 3.0
DRAWS = 300

Choice = Callable[[list[ClipScore], int], list[ClipScore]]
Row = dict[str, float]


@dataclass(frozen=True, slots=True)
class Guarded:
    """A figure. ``more``: larger is better. ``grain``: a step too small to mean anything."""

    name: str
    more: bool
    grain: float


# Shares: two of some hundred double stops, where chance happened to show none.
SHARES, CENTS = 0.02, 0.05
REAL = (
    Guarded("real: found", True, SHARES),
    Guarded("real: frames found", True, SHARES),
)
GUARDED = (
    *REAL,
    *(Guarded(f"{group}: found", True, SHARES) for group in "abcde"),
    *(Guarded(f"{group}: wrong", False, SHARES) for group in "abc"),
    *(Guarded(f"{group}: median", False, CENTS) for group in "abcde"),
    *(Guarded(f"{group}: p90", False, 2.0 * CENTS) for group in "abcde"),
    *(Guarded(f"{group}: unsure", False, SHARES) for group in "abcde"),
    Guarded("octaves found", True, SHARES),
    Guarded("within 1 sd", True, SHARES),
    Guarded("within 2 sd", True, SHARES),
    Guarded("onsets within 50 ms", True, SHARES),
    Guarded("marks: precision", True, SHARES),
    Guarded("marks: recall", True, SHARES),
    Guarded("controls: marks", False, 0.0),
    Guarded("controls: double stops", False, 1.0),
    Guarded("controls: false pairs", False, SHARES),
)


def guarded(ours: dict[str, list[ClipScore]], played: list[MovementScore]) -> dict[str, float]:
    """The guarded figures of clips by group, and of real movements."""
    found: dict[str, float | None] = dict(guarded_real(played))
    for group in "abcde":
        row = pair_row(_events(ours[group]))
        found[f"{group}: found"], found[f"{group}: wrong"] = row["right"], row["wrong"]
        found[f"{group}: median"], found[f"{group}: p90"] = row["median_c"], row["p90_c"]
        found[f"{group}: unsure"] = row["unsure"]
    pairs = [event for group in "abcde" for event in _events(ours[group])]
    together = pair_row(pairs)
    octaves = pair_row(event for event in pairs if event.kind.startswith("octave"))
    marks = mark_row(ours["e"])
    singles = single_row(_events(ours["f"]))
    found |= {
        "octaves found": octaves["right"],
        "within 1 sd": together["within_1"],
        "within 2 sd": together["within_2"],
        "onsets within 50 ms": together["onset_within_50_ms"],
        "marks: precision": marks["precision"],
        "marks: recall": marks["recall"],
        "controls: marks": sum(clip.marks["made"] for clip in ours["f"]),
        "controls: double stops": sum(clip.double_stops for clip in ours["f"]),
        "controls: false pairs": singles["false_pair_share"],
    }
    return {each.name: _told(each.name, found[each.name]) for each in GUARDED}


def guarded_real(played: list[MovementScore]) -> dict[str, float]:
    """Pairs of which both notes are struck."""
    row = point(played)
    return {
        "real: found": _told("real: found", row["found"]),
        "real: frames found": _told("real: frames found", row["frames_found"]),
    }


def _told(name: str, value: float | None) -> float:
    if value is None:
        raise ValueError(f"nothing was heard to make the figure {name!r} of")
    return float(value)


def _events(clips: list[ClipScore]) -> list[EventScore]:
    return [event for clip in clips for event in clip.events]


def quick_share(scores: Scores) -> dict[str, list[ClipScore]]:
    """Of a full run, the clips that the quick run hears."""
    return _chosen(scores, lambda clips, count: clips[:count])


def drawn(scores: Scores, rng: np.random.Generator) -> dict[str, list[ClipScore]]:
    """As many clips of each set as the quick run hears, drawn from the full run."""
    return _chosen(
        scores, lambda clips, count: [clips[i] for i in rng.integers(len(clips), size=count)]
    )


def quick_movements(scores: Scores) -> list[MovementScore]:
    """Of a full run, the real movements that the quick run hears."""
    return [each for each in scores.real[OURS] if each.movement in real.QUICK]


def drawn_movements(scores: Scores, rng: np.random.Generator) -> list[MovementScore]:
    """The same with as many of their pairs, drawn."""
    found = []
    for each in quick_movements(scores):
        drawn = rng.integers(len(each.pairs), size=len(each.pairs))
        found.append(replace(each, pairs=[each.pairs[i] for i in drawn]))
    return found


def _chosen(scores: Scores, choose: Choice) -> dict[str, list[ClipScore]]:
    found: dict[str, list[ClipScore]] = {}
    for each in all_sets():
        clips = [c for c in scores.ours[each.group] if c.set_name == each.name]
        if each.quick:
            found.setdefault(each.group, []).extend(choose(clips, each.quick))
    return found


def keep_noise(scores: Scores, seed: int) -> str:
    """Store each guarded figure of a full run with its noise; the same as lines of text."""
    rng = np.random.default_rng(seed)
    value = guarded(quick_share(scores), quick_movements(scores))
    draws = [guarded(drawn(scores, rng), drawn_movements(scores, rng)) for _ in range(DRAWS)]
    about = {"seed": seed, "draws": DRAWS, **figures.machine()}
    return _keep(about, _rows(GUARDED, value, draws))


def keep_noise_of_real(scores: Scores, seed: int) -> str:
    """The same of a run of real playing alone; all other figures stay as they were kept."""
    rng = np.random.default_rng(seed)
    value = guarded_real(quick_movements(scores))
    draws = [guarded_real(drawn_movements(scores, rng)) for _ in range(DRAWS)]
    kept = json.loads(NOISE.read_text())
    others = {name: row for name, row in kept["figures"].items() if name not in value}
    return _keep(kept, {**_rows(REAL, value, draws), **others})


def _rows(which: Iterable[Guarded], value: Row, draws: list[Row]) -> dict[str, Row]:
    return {
        each.name: {
            "value": value[each.name],
            "mean": round(float(np.mean([draw[each.name] for draw in draws])), 4),
            "deviation": round(float(np.std([draw[each.name] for draw in draws], ddof=1)), 4),
        }
        for each in which
    }


def _keep(about: dict[str, object], rows: dict[str, Row]) -> str:
    NOISE.parent.mkdir(exist_ok=True)
    NOISE.write_text(json.dumps({**about, "figures": rows}, indent=1) + "\n")
    return "\n".join(
        f"{name:26} {row['value']:9.4f}  (by chance {row['mean']:.4f} +- {row['deviation']:.4f})"
        for name, row in rows.items()
    )


def worse(each: Guarded, now: float, kept: dict[str, float]) -> str | None:
    """What to say when a figure is worse than it was by more than noise; else ``None``."""
    margin = DEVIATIONS * kept["deviation"] + each.grain
    both = (kept["value"], kept["mean"])
    bound = min(both) - margin if each.more else max(both) + margin
    if (now >= bound) if each.more else (now <= bound):
        return None
    limit = "at least" if each.more else "at most"
    return f"{each.name}: {now:g}, was {kept['value']:g}; {limit} {bound:.4g} is noise"

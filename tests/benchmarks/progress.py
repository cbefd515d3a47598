"""Whether what is said of progress is true: ``deploy/measure progress [--quick] [--seed N]``.

School years of made-up pupils (``tests.benchmarks.progressing.pupils``), of whom it is known
whether they come closer, and by how much. Of each, 200 are drawn (``--quick``: 30), and all is
asked of them that the page would ask: of all double stops together, which is the *statement*; of
every interval; and, within it, of every pair of strings.

Definitions (fixed; a change of one makes earlier figures incomparable)

* **right**: of a pupil who does not change, nothing on the page is said to be closer or further
  off; of one who does, the statement says that way, her true change lies within twice the
  uncertainty printed, and nothing on the page goes the wrong way.
* **wrong**: a year with any answer, of all on the page, that says *closer* or *further off* where
  it is not so, or *the same* where the true change is larger than the bound that it names.
* **improved**: a year of which *closer* is said of anything.
* **clear**: of the answers, those that are not left open.
* **off**: of the answers that name a change, those from which the true one lies further than twice
  the uncertainty printed; 5 % are allowed.
* **inside**: of all changes that were estimated, said or left open, those whose true value lies
  within twice the stated uncertainty; 95 % are wanted.
* **naive**: the same question by a plain line through all playings (scipy.stats.linregress; drills,
  weeks and clips not minded): years of which it says "improved" at p < 0.05.

Of hands whose weeks have one known cause as many are drawn
(``tests.benchmarks.progressing.causes``, which has its own definitions).

What a pupil's change is, is known from ``per_week`` and the weeks that the answer covers.
The last line printed is one JSON object with all figures.
"""

import argparse
import json
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np
from scipy import stats

from studio import figures
from studio.progress.playings import Playings
from studio.progress.trends import CLOSER, FURTHER, SAME, SAME_WITHIN, TOO_LITTLE, Trend, answers
from tests.benchmarks.progressing import causes
from tests.benchmarks.progressing.pupils import Pupil, year_of

SEED, YEARS, QUICK_YEARS = 20_264, 200, 30
LEAST_RIGHT, MOST_IMPROVED = 0.95, 0.05
PUPILS = (
    Pupil(name="improves by 1 c a week", begins_at=46.0, per_week=-1.0),
    Pupil(name="does not change"),
    Pupil(name="does not change, good and bad times", alike=0.6),
    Pupil(name="does not change, each drill easier", easier=6.0),
    Pupil(name="does not change, A4 moves by 15 c", a4_moves=15.0),
    Pupil(name="does not change, another microphone", doubt=1.5, snr_db=12.0, tilt_db=6.0),
    Pupil(name="single notes, A4 moves by 15 c", a4_moves=15.0, singles=True),
    Pupil(name="improves, A4 and microphone change", begins_at=46.0, per_week=-1.0, a4_moves=15.0,
          doubt=1.5, snr_db=12.0, tilt_db=6.0),
    Pupil(name="improves, good and bad times", begins_at=46.0, per_week=-1.0, alike=0.6),
    Pupil(name="falls back by 1 c a week", begins_at=8.0, per_week=1.0),
    Pupil(name="has sent for five weeks", begins_at=46.0, per_week=-1.0, weeks=5),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Figures:
    """One line of the table: shares from 0 to 1."""

    years: int
    right: float
    right_from: float
    wrong: float
    improved: float
    clear: float
    off: float | None
    inside: float | None
    naive: float
    processor_ms: float


def figures_of(pupil: Pupil, seeds: range) -> Figures:
    count: Counter[str] = Counter()
    spent = 0.0
    for seed in seeds:
        playings = Playings.of(year_of(pupil, seed))
        begun = time.process_time()
        found = answers(playings).trends
        spent += time.process_time() - begun
        count.update(_counted(found, pupil))
        count["naive"] += naively_improved(playings)
    years = len(seeds)
    low = stats.binomtest(count["right"], years).proportion_ci(method="wilson").low
    return Figures(
        years=years,
        right=count["right"] / years,
        right_from=float(low),
        wrong=count["wrong"] / years,
        improved=count["improved"] / years,
        clear=count["clear"] / count["answers"],
        off=count["off"] / count["said"] if count["said"] else None,
        inside=count["inside"] / count["estimated"] if count["estimated"] else None,
        naive=count["naive"] / years,
        processor_ms=1000.0 * spent / years,
    )


def _counted(found: Sequence[Trend], pupil: Pupil) -> dict[str, int]:
    said = [trend for trend in found if trend.outcome in (CLOSER, FURTHER)]
    estimated = [trend for trend in found if trend.slope is not None]
    return {
        "right": int(is_right(found, pupil)),
        "wrong": any(is_wrong(trend, pupil) for trend in found),
        "improved": any(trend.outcome == CLOSER for trend in found),
        "answers": len(found),
        "clear": sum(trend.outcome in (CLOSER, FURTHER, SAME) for trend in found),
        "said": len(said),
        "off": sum(not is_as_printed(trend, pupil) for trend in said),
        "estimated": len(estimated),
        "inside": sum(is_inside(trend, pupil) for trend in estimated),
    }


def is_right(found: Sequence[Trend], pupil: Pupil) -> bool:
    if any(is_wrong(trend, pupil) for trend in found):
        return False
    first = found[0]
    if pupil.per_week == 0.0 or first.outcome == TOO_LITTLE:
        return True
    way = CLOSER if pupil.per_week < 0 else FURTHER
    return first.outcome == way and is_as_printed(first, pupil)


def is_wrong(trend: Trend, pupil: Pupil) -> bool:
    true = _true(trend, pupil)
    if trend.outcome == SAME:
        return abs(true) > SAME_WITHIN
    return trend.outcome in (CLOSER, FURTHER) and true * (trend.change or 0.0) <= 0.0


def is_as_printed(trend: Trend, pupil: Pupil) -> bool:
    """Within twice the uncertainty, which is printed in whole cents, rounded up."""
    printed = max(1.0, np.ceil(trend.uncertainty or 0.0))
    return abs(_true(trend, pupil) - (trend.change or 0.0)) <= 2.0 * printed


def _true(trend: Trend, pupil: Pupil) -> float:
    return pupil.per_week * trend.slope.covered if trend.slope else 0.0


def is_inside(trend: Trend, pupil: Pupil) -> bool:
    return abs(_true(trend, pupil) - (trend.change or 0.0)) <= 2.0 * (trend.uncertainty or 0.0)


def naively_improved(playings: Playings) -> bool:
    line = stats.linregress(playings.week, playings.rows["size"])
    return bool(line.slope < 0 and line.pvalue < 0.05)


def measured(pupil: Pupil, years: int, seed: int) -> Figures:
    return figures_of(pupil, range(seed, seed + years))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--seed", type=int, default=SEED)
    told = parser.parse_args()
    years = QUICK_YEARS if told.quick else YEARS
    found = {}
    print(f"{'pupil':38} right   wrong  improved   clear    off  inside   naive   ms")
    for pupil in PUPILS:
        found[pupil.name] = line = measured(pupil, years, told.seed)
        print(f"{pupil.name:38} {_line(line)}", flush=True)
    unchanged = [found[pupil.name] for pupil in PUPILS if pupil.per_week == 0.0]
    reached = all(line.right >= LEAST_RIGHT for line in found.values()) and all(
        line.improved <= MOST_IMPROVED for line in unchanged
    )
    hands = causes.measured(range(told.seed, told.seed + years))
    print(causes.table(hands))
    reached = reached and causes.is_reached(hands)
    print("reached" if reached else "not yet")
    print(json.dumps({"seed": told.seed, "reached": reached,
                      "pupils": {name: asdict(line) for name, line in found.items()},
                      "hands": {name: asdict(line) for name, line in hands.items()}}))  # fmt: skip


def _line(line: Figures) -> str:
    shares = (
        *(line.right, line.wrong, line.improved, line.clear),
        *(line.off, line.inside, line.naive),
    )
    said = ("-" if s is None else figures.number(100 * s) for s in shares)
    return "  ".join(f"{each:>6}" for each in said) + f"  {figures.number(line.processor_ms)}"


if __name__ == "__main__":
    main()

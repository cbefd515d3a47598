"""Fit the weights of ``uncertainty.stated``: ``python -m tests.intonation.estimation.calibrate``.

Whole clips are heard, of the benchmark's kinds of sound but from seeds of their own: double stops
added up and recorded, steady and with vibrato, in rooms of 0.3 to 1 s at 10 to 30 dB, through
what phones do, and scales. The evidence on each double stop and its true error are kept. Steady
soundings and those under vibrato get a model each: the log of the error's size is linear in the
logs of the evidence, fitted with a Student likelihood (errors are heavy-tailed) and a light ridge,
every set counting alike; for vibrato, notes with their player's own count threefold and sets
without any four tenths. One factor then brings the share of errors within one and within two stated
standard deviations nearest to 70 and 95 percent. Printed are the weights and, on other seeds, the
coverage that they reach.

The truth of a recorded note is its catalogue's median, good to about half a cent, less for the
highest and for those with vibrato of their own. It is not taken out: the evidence says how
lopsided a note's partials are, how they sway and how high it lies, and so learns how well the
pitch of such a note is defined.
"""

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from unittest import mock

import numpy as np
from scipy.optimize import minimize

from studio.intonation import listen
from studio.intonation.estimation import uncertainty
from studio.intonation.estimation.uncertainty import Evidence, Judge, Weights, terms
from tests.benchmarks.ear import pairs, sets
from tests.benchmarks.ear.material import SR, Material
from tests.benchmarks.ear.pairs import Pairs
from tests.benchmarks.ear.scoring import score_event
from tests.intonation.estimation import tones

STUDENT_DEGREES = 6.0
RIDGE = 1.0
WANTED = (0.70, 0.95)
SAME_CENTS = 0.0006  # an interval of the answer is the one whose stated deviation was kept
OWN_COUNTS, OTHERS_COUNT = 3.0, 0.4  # of sets, where vibrato is asked
CHANGES = ("noise 10 dB", "AAC 32 kbit/s", "gain control", "band 200 Hz to 8 kHz", "clipping")
ROOMS = (
    *(
        Pairs(f"room {room} s, {snr:.0f} dB", rt60_s=room, snr_db=snr)
        for room in (0.3, 0.6, 1.0)
        for snr in (30.0, 20.0, 12.0)
    ),
    Pairs("octaves, room 1 s, 12 dB", sizes=sets.OCTAVE, rt60_s=1.0, snr_db=12.0),
    Pairs("octaves, room 1 s, 30 dB", sizes=sets.OCTAVE, rt60_s=1.0),
    Pairs("recorded, room 1 s", tones.real_note, low_hz=sets.RECORDED_HZ, rt60_s=1.0, snr_db=20.0),
    Pairs(
        "vibrato, recorded octaves",
        tones.real_note,
        sets.OCTAVE,
        (196.0, 310.0),
        vibrato_cents=15.0,
        snr_db=25.0,
    ),
)

Make = Callable[[np.random.Generator, int], Material]


@dataclass(frozen=True)
class Case:
    """One measured double stop: its set, its evidence, and its absolute error in cents."""

    row: str
    evidence: Evidence
    error: float


def makers() -> list[tuple[str, Make]]:
    """Every kind of clip by name. ``OWN_VIBRATO`` twice, since it has the fewest measured."""
    made = (*sets.MADE, *sets.RECORDED, *sets.SHAKEN, *ROOMS, sets.OWN_VIBRATO, sets.OWN_VIBRATO)
    found: list[tuple[str, Make]] = [
        (which.condition, lambda rng, _, p=which: pairs.material(p, rng)) for which in made
    ]
    found += [
        (name, lambda rng, n, c=name: pairs.changed(sets.BASES[n % 2], rng, c, ""))
        for name in CHANGES
    ]
    return found + [(each.name, each.make) for each in sets.all_sets() if each.group == "e"]


def collect(rounds: int, seed: int) -> list[Case]:
    """Hear ``rounds`` clips of every kind, six double stops each (a scale has more)."""
    cases = []
    kept: list[tuple[float, Evidence]] = []
    interval = Judge.interval

    def keep(judge: Judge, low: int, high: int) -> tuple[float | None, str | None]:
        answer = interval(judge, low, high)
        if answer[0] is not None:
            signs = {int(low): -1.0, int(high): 1.0}
            kept.append((answer[0], judge.evidence(signs)))
        return answer

    with (
        mock.patch.object(Judge, "interval", keep),
        mock.patch.object(uncertainty, "limit_cents", return_value=np.inf),
    ):
        for number in range(rounds):
            for place, (name, make) in enumerate(makers()):
                clip = make(np.random.default_rng([seed, number, place]), number)
                kept.clear()
                found = listen(clip.y, SR, clip.options).events
                for true in clip.events:
                    scored = score_event(true, found)
                    if scored.stated_cents is None or scored.error_cents is None:
                        continue
                    off = [abs(stated - scored.stated_cents) for stated, _ in kept]
                    if off and min(off) < SAME_CENTS:
                        evidence = kept[int(np.argmin(off))][1]
                        cases.append(Case(name, evidence, abs(scored.error_cents)))
    return cases


def counts(cases: list[Case], moving: bool) -> np.ndarray:
    """How much each case counts, shape (n,), mean 1."""
    share = np.array([1 / sum(other.row == case.row for other in cases) for case in cases])
    if moving:
        own = np.array([case.row == sets.OWN_VIBRATO.condition for case in cases])
        shaken = np.array(["vibrato" in case.row for case in cases])
        share *= np.where(own, OWN_COUNTS, np.where(shaken, 1.0, OTHERS_COUNT))
    return share * len(cases) / share.sum()


def fitted(cases: list[Case], moving: bool) -> np.ndarray:
    """Weights of :func:`terms` for ``cases``, the factor for coverage included in the first."""
    x = np.array([terms(case.evidence) for case in cases])
    error = np.array([case.error for case in cases])
    share = counts(cases, moving)
    spread = x.std(axis=0)

    def cost(weights: np.ndarray) -> float:
        size = x @ weights
        tail = np.log1p((error / np.exp(size)) ** 2 / STUDENT_DEGREES)
        likely = np.sum(share * (size + (STUDENT_DEGREES + 1) / 2 * tail))
        return float(likely + RIDGE * np.sum((weights * spread)[1:] ** 2))

    weights = minimize(cost, np.zeros(x.shape[1]), method="BFGS").x
    ratio = error / np.exp(x @ weights)
    factors = np.arange(0.6, 2.5, 0.02)
    off = [
        sum(
            abs(np.average(ratio < n * f, weights=share) - w)
            for n, w in zip((1, 2), WANTED, strict=True)
        )
        for f in factors
    ]
    weights[0] += np.log(factors[int(np.argmin(off))])
    return weights


def main() -> None:
    """Fit, print, check."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=4, help="clips of every kind")
    parser.add_argument("--seed", type=int, default=7_000_000)
    options = parser.parse_args()
    known = collect(options.rounds, options.seed)
    fresh = collect(options.rounds, options.seed + 10_000)
    for moving in (False, True):
        weights = fitted([case for case in known if case.evidence.moving == moving], moving)
        print("vibrato" if moving else "steady", Weights(*np.round(weights, 3).tolist()))
        new = [case for case in fresh if case.evidence.moving == moving]
        for name in dict.fromkeys(case.row for case in new):
            mine = [case for case in new if case.row == name]
            ratio = [c.error / np.exp(terms(c.evidence) @ weights) for c in mine]
            within = [100 * np.mean(np.array(ratio) < n) for n in (1, 2)]
            print(f"{name:32} {len(mine):4d} {within[0]:4.0f} {within[1]:4.0f}")


if __name__ == "__main__":
    main()

"""Fit the weights of ``uncertainty.stated``: ``python -m tests.intonation.cents.calibrate``.

Double stops of the sets in ``figures`` are measured from their own seeds; the evidence on each
and its true error are kept. Steady soundings and those under vibrato get a model each: the log of
the error's size is linear in the logs of the evidence, fitted with a Student likelihood (errors
are heavy-tailed) and a light ridge, every set counting alike. One factor then brings the share of
errors within one and within two stated standard deviations nearest to 70 and 94 percent. Printed
are the weights and, on seeds that were not fitted, the coverage they reach.

The truth of a recorded note is its catalogue's median, good to about half a cent, less for the
highest. It is not taken out: the evidence says how lopsided a note's partials are and how high it
lies, and so learns how well the pitch of such a note is defined.
"""

import argparse
from dataclasses import dataclass
from unittest import mock

import numpy as np
from scipy.optimize import minimize

from studio.intonation.cents import measure_sounding, uncertainty
from studio.intonation.cents.uncertainty import Evidence, Weights, terms
from tests.intonation.cents import figures, tones

STUDENT_DEGREES = 6.0
RIDGE = 1.0
WANTED = (0.70, 0.94)
LEFT_OUT = "against clean"


@dataclass(frozen=True)
class Case:
    """One measured double stop: its set, its evidence, and its absolute error in cents."""

    row: str
    evidence: Evidence
    error: float


def collect(count: int, seed: int) -> list[Case]:
    """Measure ``count`` double stops of every set."""
    cases = []
    seen: list[Evidence] = []
    stated = uncertainty.stated

    def note(evidence: Evidence) -> float:
        seen.append(evidence)
        return stated(evidence)

    with mock.patch.object(uncertainty, "stated", note):
        for row in figures.ROWS:
            if LEFT_OUT in row.name:
                continue
            for i in range(count):
                mix = figures.event(row, seed + i)
                sounding = tones.coarse(np.random.default_rng(seed + i), mix, row.given_cents)
                seen.clear()
                fit = measure_sounding(mix.y, mix.sr, sounding).intervals[0]
                if seen and fit.unsure_reason != "too_close":
                    error = abs(fit.size_cents - abs(tones.true_size(mix)))
                    cases.append(Case(row.name, seen[-1], error))
    return cases


def fitted(cases: list[Case]) -> np.ndarray:
    """Weights of :func:`terms` for ``cases``, the factor for coverage included in the first."""
    x = np.array([terms(case.evidence) for case in cases])
    error = np.array([case.error for case in cases])
    share = np.array([1 / sum(other.row == case.row for other in cases) for case in cases])
    share *= len(cases) / share.sum()
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
    parser.add_argument("--events", type=int, default=60, help="double stops per set")
    parser.add_argument("--seed", type=int, default=500_000)
    options = parser.parse_args()
    known = collect(options.events, options.seed)
    fresh = collect(options.events, options.seed + 10_000)
    for moving in (False, True):
        weights = fitted([case for case in known if case.evidence.moving == moving])
        print("vibrato" if moving else "steady", Weights(*np.round(weights, 3).tolist()))
        new = [case for case in fresh if case.evidence.moving == moving]
        for name in dict.fromkeys(case.row for case in new):
            mine = [case for case in new if case.row == name]
            ratio = [c.error / np.exp(terms(c.evidence) @ weights) for c in mine]
            within = [100 * np.mean(np.array(ratio) < n) for n in (1, 2)]
            print(f"{name:32} {len(mine):4d} {within[0]:4.0f} {within[1]:4.0f}")


if __name__ == "__main__":
    main()

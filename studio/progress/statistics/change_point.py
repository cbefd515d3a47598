"""Whether a series steps to another level once, and where: A. N. Pettitt 1979, "A non-parametric
approach to the change-point problem", Journal of the Royal Statistical Society C 28(2), 126-135.

With ranks r_1 .. r_n, U_k = 2 (r_1 + .. + r_k) - k (n + 1); K is the largest |U_k|, and
p = 2 exp(-6 K² / (n³ + n²)), close for p below 0.5. Asked is what belongs to the recording (its A4,
how far the notes stand above the noise), not to the playing: a player does not step, a new
microphone does.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import rankdata

FEWEST = 12  # values: with fewer hardly a step of any size reaches the level
FEWEST_SIDE = 3  # on either side: chosen, so that one odd day is no change
LEVEL = 0.05  # chosen: a step that is none costs data, and one that is missed misleads


@dataclass(frozen=True, slots=True)
class Step:
    """The first value of the new level, by its place; how far it lies from the old one."""

    at: int
    size: float
    p_value: float


def step_in(values: np.ndarray, least: float) -> Step | None:
    """The step in a series; ``None`` where there is none, or a smaller one than ``least``.

    Parameters
    ----------
    values : np.ndarray, shape (n,), in time
    least : a size below which it does not matter, in the values' own unit; > 0

    Examples
    --------
    >>> step_in(np.array([0.1, 0.0, 0.2, 0.1, 0.3, 0.1, 7.9, 8.0, 8.1, 8.2, 8.0, 7.8]), 3.0).at
    6
    """
    count = len(values)
    if count < FEWEST:
        return None
    ranks = rankdata(values)
    u = 2.0 * np.cumsum(ranks) - np.arange(1, count + 1) * (count + 1.0)
    at = int(np.argmax(np.abs(u[:-1]))) + 1
    p_value = min(1.0, 2.0 * np.exp(-6.0 * u[at - 1] ** 2 / (count**3 + count**2)))
    size = float(np.median(values[at:]) - np.median(values[:at]))
    if p_value > LEVEL or abs(size) < least or min(at, count - at) < FEWEST_SIDE:
        return None
    return Step(at, size, float(p_value))

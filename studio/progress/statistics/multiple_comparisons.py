"""Many questions asked at once: how sure an answer must be so that none is a chance hit.

S. Holm 1979, "A simple sequentially rejective multiple test procedure", Scandinavian Journal of
Statistics 6(2), 65-70. With p-values in order, the i-th smallest of m is multiplied by m - i + 1,
and none may come below the one before it. Whatever the answers have to do with one another, the
chance that *any* of them is said wrongly stays below the level asked for.
"""

import numpy as np


def holm(p_values: np.ndarray) -> np.ndarray:
    """Adjusted p-values, each from 0 to 1, in the order given.

    >>> holm(np.array([0.01, 0.04, 0.03, 0.005])).tolist()
    [0.03, 0.06, 0.06, 0.02]
    """
    count = len(p_values)
    order = np.argsort(p_values, kind="stable")
    stepped = p_values[order] * (count - np.arange(count))
    adjusted = np.empty(count)
    adjusted[order] = np.minimum(np.maximum.accumulate(stepped), 1.0)
    return adjusted

"""librosa, first used by one process at a time.

numba compiles librosa's functions at their first use and keeps what it compiled on disk, for all
processes of the machine. Two processes that compile at once may each keep a part of the same
function, and the parts do not fit: whoever loads them calls an address that is none and dies by a
segmentation fault, from then on at every use (numba's issues 4807 and 10128). So the first use in a
process happens while no other process has its first, and is one of all that is compiled.

The one place of this package that opens a file: to lock it, for there is no sound in it.
"""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cache
from importlib.util import find_spec
from types import ModuleType

import numpy as np

# The sound of the first use, chosen: any would do that is longer than two of pYIN's frames.
SR = 22_050  # Hz
FIRST_S = 0.2  # seconds
BETWEEN_HZ = (100.0, 800.0)


@cache
def librosa() -> ModuleType:
    """The package, with what the listening uses of it compiled. Seconds, once in a process."""
    with _alone():
        import librosa as package

        y = np.random.default_rng(0).standard_normal(round(FIRST_S * SR))
        package.pyin(y, sr=SR, fmin=BETWEEN_HZ[0], fmax=BETWEEN_HZ[1])
        return package


@contextmanager
def _alone() -> Iterator[None]:
    """Hold librosa's own file, which all processes that would compile it have in common."""
    spec = find_spec("librosa")
    if spec is None or spec.origin is None:  # the import says what is wrong
        yield
        return
    with open(spec.origin, "rb") as held:  # noqa: PTH123
        with suppress(OSError):  # a file system that knows no locks: as it was without
            fcntl.flock(held, fcntl.LOCK_EX)
        yield

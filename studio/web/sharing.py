"""New lines are shared out among the web processes: whoever holds fewest takes the next one.

All wait at one door, and a browser's lines stay open: where eight came at once, one process often
took all of them before another had looked, and one core had all of the work. Each process says in
memory that all share how many lines it holds. One that has more than another leaves a new line
alone for a moment; after :data:`MOMENT_S` it takes it, for the other may be busy.
"""

import mmap
import time
from collections.abc import Callable

PLACES = 1024  # many times as many as processes: one that ended must not be taken for another
NOBODY = -1
MOMENT_S = 0.03
LOOK_S = 0.001


class Shares:
    """How many lines each process holds, in memory that processes forked from here share."""

    def __init__(self) -> None:
        self._held = memoryview(mmap.mmap(-1, 4 * PLACES)).cast("i")
        for place in range(PLACES):
            self._held[place] = NOBODY

    def say(self, process: int, lines: int) -> None:
        self._held[process % PLACES] = lines

    def ended(self, process: int) -> None:
        self.say(process, NOBODY)

    def fewest_elsewhere(self, process: int) -> int | None:
        """The lines of the process that holds fewest, this one left out; ``None`` if alone."""
        mine = process % PLACES
        held = self._held.tolist()
        found = [lines for place, lines in enumerate(held) if lines != NOBODY and place != mine]
        return min(found, default=None)


class Share:
    """One process's share, and whether it is to take the next line."""

    def __init__(
        self,
        shares: Shares,
        process: int,
        clock: Callable[[], float] = time.monotonic,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self._shares, self._process, self._clock, self._wait = shares, process, clock, wait
        self._left_since = self._left_last = float("-inf")
        self._ended = False
        shares.say(process, 0)

    def say(self, lines: int) -> None:
        self._shares.say(self._process, NOBODY if self._ended else lines)

    def end(self) -> None:
        """From here on it takes no new line: nobody leaves one for it."""
        self._ended = True
        self._shares.ended(self._process)

    def takes(self, lines: int) -> bool:
        """Whether to take a line that came, holding ``lines``; else look again, shortly after."""
        fewest = self._shares.fewest_elsewhere(self._process)
        if fewest is None or lines <= fewest:
            return True
        now = self._clock()
        if now - self._left_last > MOMENT_S:  # another line than the one that was left before
            self._left_since = now
        self._left_last = now
        if now - self._left_since >= MOMENT_S:
            self._left_last = float("-inf")
            return True
        self._wait(LOOK_S)
        return False


SHARES = Shares()  # made by the master, which loads this before it forks

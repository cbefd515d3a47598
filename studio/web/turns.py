"""Who answers a page next: a few at once, in the order in which they came, and nobody waits long.

Python runs one thread at a time. Eight that make eight pages at once take longer than one after the
other, for each question to the database lets another thread in between; all of them are late, and
the last is very late. What may hold a thread up, such as a database that is slow, must not hold up
the others: whoever has waited for :data:`PATIENCE_S` goes on without a turn. A recording is sent
without one; only the beginning of its answer takes it.
"""

from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock

AT_ONCE = 1
PATIENCE_S = 0.3


class Turns:
    """At most ``at_once`` hold a turn; see the module."""

    def __init__(self, at_once: int = AT_ONCE, patience_s: float = PATIENCE_S) -> None:
        self._free, self._patience_s = at_once, patience_s
        self._waiting: deque[Lock] = deque()
        self._lock = Lock()

    @contextmanager
    def taken(self) -> Iterator[bool]:
        """Whether the turn was had, after a wait at most as long as the patience."""
        had = self._take()
        try:
            yield had
        finally:
            if had:
                self._give_back()

    def _take(self) -> bool:
        with self._lock:
            if self._free and not self._waiting:
                self._free -= 1
                return True
            mine = Lock()
            mine.acquire()
            self._waiting.append(mine)
        if mine.acquire(timeout=self._patience_s):
            return True
        with self._lock:
            if mine in self._waiting:
                self._waiting.remove(mine)
                return False
        return True  # it was given at the last moment

    def _give_back(self) -> None:
        with self._lock:
            if self._waiting:
                self._waiting.popleft().release()
            else:
                self._free += 1

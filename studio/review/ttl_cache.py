"""What was worked out a moment ago, kept in the memory of this process.

For values that follow from their key alone, so that a second one can never differ.
"""

import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")


class TtlCache(Generic[Key, Value]):
    """At most ``most`` values; each is forgotten ``seconds`` after it was last asked for."""

    def __init__(
        self, most: int, seconds: float, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._most, self._seconds, self._clock = most, seconds, clock
        self._kept: OrderedDict[Key, tuple[float, Value]] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Key, make: Callable[[], Value]) -> Value:
        """The value of a key, made where it is not known.

        Two threads that ask at once may both make it: that costs time, and waiting would too.
        """
        with self._lock:
            self._forget()
            found = self._kept.get(key)
        value = found[1] if found else make()
        with self._lock:
            self._kept[key] = (self._clock(), value)
            self._kept.move_to_end(key)
            if len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return value

    def _forget(self) -> None:
        """Drop what is too old; the oldest stands first."""
        limit = self._clock() - self._seconds
        while self._kept and next(iter(self._kept.values()))[0] < limit:
            self._kept.popitem(last=False)

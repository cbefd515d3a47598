"""Trying something that may hang, for a bounded time."""

import threading
import time
from collections.abc import Callable
from typing import TypeVar

from studio import figures

T = TypeVar("T")

BOUND_S = 5.0


def within(action: Callable[[], T], bound_s: float = BOUND_S) -> T:
    """What the action gives. It runs in a thread of its own, which nobody waits for at the end.

    Raises
    ------
    TimeoutError
        When it has not ended after ``bound_s``.
    Exception
        What the action raises.
    """
    given: list[T] = []
    raised: list[BaseException] = []

    def run() -> None:
        try:
            given.append(action())
        except BaseException as error:  # handed to whoever waits
            raised.append(error)

    thread = threading.Thread(target=run, daemon=True)
    until = time.monotonic() + bound_s
    thread.start()
    thread.join(max(0.0, until - time.monotonic()))
    if raised:
        raise raised[0]
    if not given:
        raise TimeoutError(f"no answer within {figures.seconds(bound_s)}")
    return given[0]

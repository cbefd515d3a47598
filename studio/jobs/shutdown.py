"""Ending in the middle of long work: finish within a short time, or hand the work back.

A worker that is told to end (TERM) takes nothing new, and lets its pool process go on for
``FINISH_S``. Then it sends TERM there too. What that does depends on where the process is:

* in work that may be cut off (:func:`interruptible`): :class:`Stopped` is raised, so that
  decoders are killed and half-made files removed on the way out, and the row is handed back;
* after :func:`no_longer`, while results are published: it is noted, and the work ends first;
* between two pieces of work: the process ends, as Celery has it.

This module keeps one process's state; Celery's pool processes do one piece of work at a time.
"""

import os
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from studio.processes import children_of

FINISH_S = 12.0  # supervisor and units kill after 25 s: enough is left for handing back
LEAVE_S = 2.0  # in which a process that handed back can tell its worker so


class Stopped(BaseException):
    """This process must end: leave the work. No ``except Exception`` may hold it up."""


_requested = False
_may_raise = False


def requested() -> bool:
    """Whether this process was told to end during the present piece of work."""
    return _requested


@contextmanager
def at_work() -> Iterator[None]:
    """In the body TERM does not end this process at once; see :func:`interruptible`.

    A process that was told to end does so soon after the body.
    """
    global _requested
    if threading.current_thread() is not threading.main_thread():
        yield  # signals reach the main thread alone
        return
    _requested = False
    before = signal.signal(signal.SIGTERM, _on_term)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
        if _requested:
            leave = threading.Timer(LEAVE_S, os.kill, (os.getpid(), signal.SIGTERM))
            leave.daemon = True
            leave.start()


@contextmanager
def interruptible() -> Iterator[None]:
    """In the body TERM raises :class:`Stopped`, once, until :func:`no_longer` is called.

    Within another such body, that one may be cut off again afterwards as before.
    """
    global _may_raise
    if _requested:
        raise Stopped
    before = _may_raise
    try:
        _may_raise = True
        yield
    finally:
        _may_raise = before and not _requested


def no_longer() -> None:
    """From here to the end of the piece of work TERM is only noted."""
    global _may_raise
    _may_raise = False


def tell_pool_later(worker: int, after_s: float = FINISH_S) -> None:
    """Send TERM to the processes of this worker's pool, whose parent it is, after a while."""
    timer = threading.Timer(after_s, _tell_pool, (worker,))
    timer.daemon = True
    timer.start()


def _tell_pool(worker: int) -> None:
    for pid in children_of(worker):
        try:
            os.kill(pid, signal.SIGTERM)
        except ProcessLookupError:
            pass


def _on_term(number: int, frame: object) -> None:
    global _requested, _may_raise
    _requested = True
    if _may_raise:
        _may_raise = False
        raise Stopped

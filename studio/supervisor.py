"""One process that starts the others, starts them again when they end, and leaves none behind.

* Each child leads a session of its own, so that Ctrl-C reaches the supervisor alone, and is
  killed by the kernel when the supervisor dies, however it dies.
* A child that ends is started again: after half a second, then one, two, four ... up to half
  a minute, and soon again once it has run for a minute.
* What a killed child leaves behind (a pool process, a decoder) is inherited and killed.
* TERM, INT and HUP ask the children to end; those that have not after ``stop_s`` are killed.
  A second signal kills at once.
"""

import os
import signal
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from studio.processes import adopt_orphans, children_of, die_with_parent

TICK_S = 0.25  # how often the supervisor looks round when nothing happens
SHORTEST_WAIT_S = 0.5
LONGEST_WAIT_S = 30.0
SAME_STOP_S = 1.0  # who stops a whole process group may send its signal twice and mean it once
KILL_S = 5.0  # a killed process that is still there is held by the kernel: do not wait for it
SETTLED_S = 60.0  # a child that ran this long counts as having started well
STOP_SIGNALS = {signal.SIGTERM, signal.SIGINT, signal.SIGHUP}
WATCHED = STOP_SIGNALS | {signal.SIGCHLD}


@dataclass(frozen=True, slots=True)
class Child:
    """A command to keep running. ``nice`` 0 to 19: how far it stands back for others."""

    name: str
    command: tuple[str, ...]
    environment: dict[str, str] = field(default_factory=dict)
    nice: int = 0


@dataclass(slots=True)
class _Place:
    """Where a child runs: its process, or when the next one is due."""

    child: Child
    process: subprocess.Popen | None = None
    started: float = 0.0
    due: float = 0.0
    wait_s: float = SHORTEST_WAIT_S


class Supervisor:
    """Keep the children running until told to stop.

    ``say`` is called with a sentence when something happens. ``ready`` is asked at every
    look round until it is true; then ``announce`` is called, once.
    """

    def __init__(
        self,
        children: list[Child],
        *,
        say: Callable[[str], None],
        ready: Callable[[], bool] = lambda: True,
        announce: Callable[[], None] = lambda: None,
        stop_s: float = 25.0,
    ) -> None:
        self._places = [_Place(child) for child in children]
        self._say = say
        self._ready = ready
        self._announce: Callable[[], None] | None = announce
        self._stop_s = stop_s

    def run(self) -> int:
        """Start the children; return 0 after a stop, with no descendant left."""
        adopt_orphans()
        before = signal.pthread_sigmask(signal.SIG_BLOCK, WATCHED)
        try:
            while not self._stop_asked(TICK_S):
                self._collect()
                self._start_due()
                if self._announce and self._ready():
                    self._announce()
                    self._announce = None
            self._stop()
        finally:
            self._kill_everything()
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
        return 0

    def _stop_asked(self, seconds: float) -> bool:
        """Wait for a signal, at most this long; whether it asks to stop."""
        got = signal.sigtimedwait(WATCHED, seconds)
        return got is not None and got.si_signo in STOP_SIGNALS

    # -- starting ----------------------------------------------------------------------

    def _start_due(self) -> None:
        now = time.monotonic()
        for place in self._places:
            if place.process is None and place.due <= now:
                place.process = self._start(place.child)
                place.started = now

    def _start(self, child: Child) -> subprocess.Popen:
        parent = os.getpid()

        def prepare() -> None:
            die_with_parent(parent)
            signal.pthread_sigmask(signal.SIG_UNBLOCK, WATCHED)
            os.nice(child.nice)

        # This process has one thread, so that code between fork and exec is safe.
        return subprocess.Popen(
            child.command,
            env={**os.environ, **child.environment},
            stdin=subprocess.DEVNULL,
            start_new_session=True,
            preexec_fn=prepare,
        )

    # -- what has ended ----------------------------------------------------------------

    def _collect(self) -> None:
        """Note which children ended; kill what they left, and what was inherited."""
        self._reap()
        now = time.monotonic()
        for place in self._places:
            process = place.process
            if process is None or process.returncode is None:
                continue
            ran_s = now - place.started
            if ran_s >= SETTLED_S:
                place.wait_s = SHORTEST_WAIT_S
            self._say(
                f"{place.child.name} ended ({_how(process.returncode)}) after {ran_s:.1f} s; "
                f"it is started again in {place.wait_s:g} s."
            )
            _kill_group(process.pid)
            place.process, place.due = None, now + place.wait_s
            place.wait_s = min(place.wait_s * 2, LONGEST_WAIT_S)
        self._kill_orphans()

    def _reap(self) -> None:
        """Collect every ended process, inherited ones included."""
        running = {place.process.pid: place.process for place in self._places if place.process}
        while True:
            try:
                pid, status = os.waitpid(-1, os.WNOHANG)
            except ChildProcessError:
                return
            if pid == 0:
                return
            if pid in running:
                running[pid].returncode = os.waitstatus_to_exitcode(status)

    def _kill_orphans(self) -> None:
        ours = {place.process.pid for place in self._places if place.process}
        for pid in children_of(os.getpid()) - ours:
            _kill_group(pid)
            _send(pid, signal.SIGKILL)

    # -- stopping ----------------------------------------------------------------------

    def _stop(self) -> None:
        """Ask every child to end and wait; a second signal, or the time limit, ends the wait."""
        self._say("Stopping.")
        self._reap()
        for place in self._places:
            if place.process and place.process.returncode is None:
                _send(place.process.pid, signal.SIGTERM)
        begun = time.monotonic()
        while self._alive() and time.monotonic() < begun + self._stop_s:
            if self._stop_asked(TICK_S) and time.monotonic() > begun + SAME_STOP_S:
                break
            self._reap()
        late = ", ".join(place.child.name for place in self._alive())
        if late:
            self._say(f"Still running, and ended now: {late}.")

    def _alive(self) -> list[_Place]:
        return [p for p in self._places if p.process and p.process.returncode is None]

    def _kill_everything(self) -> None:
        """Kill children and what they leave until nothing is left of either."""
        for place in self._places:
            if place.process:
                _kill_group(place.process.pid)
        until = time.monotonic() + KILL_S
        while (left := children_of(os.getpid())) and time.monotonic() < until:
            for pid in left:
                _kill_group(pid)
                _send(pid, signal.SIGKILL)
            self._reap()
            time.sleep(0.01)


def _how(code: int) -> str:
    return f"killed by {signal.Signals(-code).name}" if code < 0 else f"exit code {code}"


def _kill_group(pid: int) -> None:
    """Kill the process group that this process leads or led; none is no error."""
    try:
        os.killpg(pid, signal.SIGKILL)
    except ProcessLookupError:
        pass


def _send(pid: int, number: int) -> None:
    try:
        os.kill(pid, number)
    except ProcessLookupError:
        pass

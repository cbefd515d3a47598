"""How much memory the programs that we start hold at their worst, in the sandbox or out of it.

The kernel keeps each process's high-water mark (``VmHWM``, proc(5)) from its ``exec`` on; it is
read every few milliseconds while the process lives, so only its last moments can be missed.
"""

import contextlib
import os
import re
import threading
from collections.abc import Iterator
from pathlib import Path

EVERY_S = 0.01
HIGH_WATER = re.compile(r"VmHWM:\s+(\d+) kB")


@contextlib.contextmanager
def peak_memory() -> Iterator[dict[str, int]]:
    """Yields a table that fills while the body runs: program's name -> most bytes one held.

    What ran before, and whatever that begins meanwhile, is not counted.
    """
    peaks: dict[str, int] = {}
    others = frozenset(descendants(os.getpid()))  # servers and browsers of other tests
    stop = threading.Event()

    def watch() -> None:
        while not stop.wait(EVERY_S):
            for pid in descendants(os.getpid(), others):
                with contextlib.suppress(OSError):
                    _note(pid, peaks)

    watcher = threading.Thread(target=watch, daemon=True)
    watcher.start()
    try:
        yield peaks
    finally:
        stop.set()
        watcher.join()


def descendants(pid: int, but: frozenset[int] = frozenset()) -> list[int]:
    """Every process below ``pid`` that lives now, without those of ``but`` and below them."""
    found: list[int] = []
    for children in Path(f"/proc/{pid}/task").glob("*/children"):
        with contextlib.suppress(OSError):
            for child in set(map(int, children.read_text().split())) - but:
                found += [child, *descendants(child, but)]
    return found


def _note(pid: int, peaks: dict[str, int]) -> None:
    program = Path(f"/proc/{pid}/exe").readlink()
    # Between fork and exec the child is still a copy of us, with our own high-water mark.
    if program == Path("/proc/self/exe").readlink():
        return
    match = HIGH_WATER.search(Path(f"/proc/{pid}/status").read_text())
    if match:
        peaks[program.name] = max(peaks.get(program.name, 0), int(match[1]) * 1024)

"""Run one media program: bounded, nice, alone, and never left behind.

Each child gets its own process group, dies with its parent (``PR_SET_PDEATHSIG``), runs at
nice 19 under rlimits, and is killed with its group at the wall-clock bound. Where bubblewrap
works it sees a read-only system, no network, one input file and one output folder. The input
is always presented under a name without an extension, so that content alone decides.
"""

import contextlib
import ctypes
import math
import os
import resource
import selectors
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from studio.figures import MB
from studio.media import tools
from studio.media.errors import Failed
from studio.media.limits import Limits

TAIL_BYTES = 16_384  # of standard error, enough for the cause
NICEST = 19  # stands back for everything else
TICK_S = 0.5  # how often a waiting caller hears from us, to beat its heart or to stop the job
PR_SET_PDEATHSIG = 1
# What our tools, C++ and Python say when they get no memory, within their bound or the machine's.
NO_MEMORY = ("Cannot allocate memory", "malloc of size", "std::bad_alloc", "MemoryError")
NOT_STARTED = (126, 127)  # a shell's, a loader's and a sandbox's exit where the program is not run
SANDBOX_SAYS = "bwrap: "
PART_PREFIX = ".part-"  # folders of work in progress; a sweep may remove old ones

_libc = ctypes.CDLL(None, use_errno=True)

Progress = Callable[[float], None]


def part_of(on_progress: Progress | None, start: float, end: float) -> Progress | None:
    """Progress of a step that takes the job from ``start`` to ``end`` (both 0..1)."""
    if on_progress is None:
        return None
    return lambda fraction: on_progress(start + (end - start) * fraction)


@dataclass(frozen=True, slots=True)
class Finished:
    """How a child ended. ``exit_code`` is negative for a signal."""

    exit_code: int
    stdout: bytes
    stderr: str


@dataclass(frozen=True, slots=True)
class Workbench:
    """Where the child finds its input and leaves its output, as the child sees the paths."""

    source: str
    output: str
    prefix: tuple[str, ...]
    folder: Path


@contextlib.contextmanager
def workbench(
    program: Path, source: Path, beside: Path | None = None, *, shows: tuple[Path, ...] = ()
) -> Iterator[Workbench]:
    """Prepare one input file and one output folder for ``program``; clean up afterwards.

    ``beside`` is the folder in which the output will finally live, so that a rename suffices.
    ``shows`` are further folders that the program needs to read.
    """
    source = source.resolve()
    if not source.is_file():
        raise Failed("file_missing", name=source.name)
    folder = Path(tempfile.mkdtemp(prefix=PART_PREFIX, dir=beside))
    try:
        if tools.sandbox_available():
            prefix = [*tools.sandbox_prefix(program)]
            for folder_shown in shows:
                prefix += ["--ro-bind", str(folder_shown), str(folder_shown)]
            prefix += ["--ro-bind", str(source), "/input"]
            prefix += ["--bind", str(folder), "/output", "--"]
            yield Workbench("/input", "/output", tuple(prefix), folder)
        else:
            (folder / "input").symlink_to(source)
            yield Workbench(str(folder / "input"), str(folder), (), folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def run(
    command: list[str],
    *,
    limits: Limits,
    timeout_s: float,
    max_output_bytes: int,
    prefix: tuple[str, ...] = (),
    on_line: Callable[[str], None] | None = None,
    on_tick: Callable[[], None] | None = None,
    nice: int = NICEST,
    cpu_s: float | None = None,
) -> Finished:
    """Run ``command`` (under ``prefix``) to its end.

    ``on_line`` gets each line of standard output, ``on_tick`` is called about twice a second;
    when either raises, the child is killed and the exception goes on to the caller.
    ``cpu_s`` bounds the processor time of one that shares the machine with others for long.
    ``max_output_bytes`` bounds every file the child writes, and what is kept of its words.

    Raises
    ------
    Failed
        ``timeout``, ``disk_full``, ``output_too_large``, ``tool_missing``; ``killed`` and
        ``no_memory`` where the child died, so that nothing it said is to be believed. Another
        non-zero exit is returned, for the caller to judge.
    """
    try:
        child = subprocess.Popen(
            [*prefix, *command],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            cwd="/",
            env={"PATH": "/usr/local/bin:/usr/bin:/bin", "LC_ALL": "C.UTF-8"},
            start_new_session=True,
            preexec_fn=_restrain(limits, cpu_s or timeout_s, max_output_bytes, nice),
        )
    except OSError as error:
        name = Path(command[0]).name
        raise Failed("tool_missing", tool=name, variable=name.upper(), detail=str(error)) from error
    try:
        until = time.monotonic() + timeout_s
        stdout, stderr = _listen(child, until, max_output_bytes, on_line, on_tick)
        exit_code = child.wait()
    except TimeoutError as error:
        raise Failed("timeout", limit_s=round(timeout_s), detail=" ".join(command)) from error
    finally:
        _kill_group(child)
    return _judge(Finished(exit_code, stdout, stderr), max_output_bytes, cpu_s or timeout_s)


def _restrain(
    limits: Limits, timeout_s: float, max_output_bytes: int, nice: int
) -> Callable[[], None]:
    parent = os.getpid()
    cpu_s = int(timeout_s * max(1, limits.threads, limits.threads_4k)) + 1
    bounds = (
        (resource.RLIMIT_AS, limits.memory_bytes),
        (resource.RLIMIT_CPU, cpu_s),
        (resource.RLIMIT_FSIZE, max_output_bytes),
        (resource.RLIMIT_CORE, 0),
    )

    def in_child() -> None:
        _libc.prctl(PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
        if os.getppid() != parent:  # the parent died before prctl took hold
            os._exit(1)
        os.nice(nice)
        for which, bound in bounds:
            hard = resource.getrlimit(which)[1]
            value = bound if hard == resource.RLIM_INFINITY else min(bound, hard)
            # Soft below hard for CPU: SIGXCPU says why, where the hard bound only kills.
            resource.setrlimit(which, (value, hard if which == resource.RLIMIT_CPU else value))

    return in_child


def _listen(
    child: subprocess.Popen[bytes],
    deadline: float,
    most_bytes: int,
    on_line: Callable[[str], None] | None,
    on_tick: Callable[[], None] | None,
) -> tuple[bytes, str]:
    """Read both pipes until they close; keep all of stdout unless ``on_line`` takes it.

    A child that says more than ``most_bytes`` (in one line, for ``on_line``) is not heard out:
    a file with a giant title must not fill the memory of whoever asks about it.
    """
    kept, tail, pending = bytearray(), bytearray(), b""
    assert child.stdout is not None
    assert child.stderr is not None
    next_tick = time.monotonic() + TICK_S
    with selectors.DefaultSelector() as pipes, child.stdout as out, child.stderr as err:
        pipes.register(out, selectors.EVENT_READ, "out")
        pipes.register(err, selectors.EVENT_READ, "err")
        while pipes.get_map():
            for key, _ in pipes.select(timeout=TICK_S):
                chunk = os.read(key.fd, 65_536)
                if not chunk:
                    pipes.unregister(key.fileobj)
                elif key.data == "err":
                    tail = (tail + chunk)[-TAIL_BYTES:]
                elif on_line is None:
                    kept += chunk
                else:
                    *lines, pending = (pending + chunk).split(b"\n")
                    for line in lines:
                        on_line(line.decode("utf-8", "replace"))
            if max(len(kept), len(pending)) > most_bytes:
                raise Failed("output_too_large", limit_mb=math.ceil(most_bytes / MB))
            now = time.monotonic()
            if now > deadline:
                raise TimeoutError
            if on_tick and now >= next_tick:
                on_tick()
                next_tick = now + TICK_S
    return bytes(kept), tail.decode("utf-8", "replace")


def _kill_group(child: subprocess.Popen[bytes]) -> None:
    """Kill whatever is left of the child's group, and reap the child."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(child.pid, signal.SIGKILL)
    child.wait()


def _judge(finished: Finished, max_output_bytes: int, timeout_s: float) -> Finished:
    """Turn ends that mean the same for every program into typed errors."""
    died_of = -finished.exit_code if finished.exit_code < 0 else finished.exit_code - 128
    # Before the exit code: ffmpeg ends with 0 where only the end of its file found no room.
    if "No space left on device" in finished.stderr or "Disk quota" in finished.stderr:
        raise Failed("disk_full", detail=finished.stderr)
    if any(words in finished.stderr for words in NO_MEMORY):
        raise Failed("no_memory", detail=finished.stderr)
    if finished.exit_code == 0:
        return finished
    if died_of == signal.SIGXFSZ or "File too large" in finished.stderr:
        limit_mb = round(max_output_bytes / MB)
        raise Failed("output_too_large", limit_mb=limit_mb, detail=finished.stderr)
    if died_of == signal.SIGXCPU:
        raise Failed("timeout", limit_s=round(timeout_s), detail=finished.stderr)
    # The shell's and the sandbox's way to say that what they ran died of a signal is 128 + it.
    if 0 < died_of < signal.NSIG:
        raise Failed("killed", detail=f"signal {died_of}; {finished.stderr}")
    if finished.exit_code in NOT_STARTED or finished.stderr.startswith(SANDBOX_SAYS):
        raise Failed("crashed", exit_code=finished.exit_code, detail=finished.stderr)
    return finished

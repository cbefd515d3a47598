"""What listening costs, measured in children of its own: speed on one core, and peak memory.

``python -m tests.benchmarks.ear.cost speed WAV`` and ``... memory WAV`` print one JSON object.
The machine may be busy with other work, so speed is told by processor time and by the clock.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from sample_media.bowing import write_wav
from tests.benchmarks.ear import playing
from tests.benchmarks.ear.material import SR

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
ONE_THREAD = dict.fromkeys(THREADS, "1")
WARM_UP_S = 6.0
TIMES = 3
TRIED_MINUTES = 1.0


class Cost:
    """Measures while other work goes on: begin with ``with``, ask for ``figures`` at the end.

    The long file is heard at once and beside everything else, since neither memory nor processor
    time depends on that; speed by the clock is measured last, when the other work is done.
    """

    def __init__(self, seed: int, long_minutes: float) -> None:
        self._seed, self._long_minutes = seed, long_minutes

    def __enter__(self) -> "Cost":
        self._folder = tempfile.TemporaryDirectory()
        self._minute = Path(self._folder.name, "minute.wav")
        long = Path(self._folder.name, "long.wav")
        _write(self._minute, self._seed, TRIED_MINUTES)
        _write(long, self._seed, self._long_minutes)
        self._long = _child("memory", long)
        return self

    def __exit__(self, *_error: object) -> None:
        if self._long.poll() is None:
            self._long.kill()
            self._long.wait()
        self._folder.cleanup()

    def figures(self) -> dict[str, Any]:
        """Speed on a minute of scales; peak memory for one minute and for the long file."""
        found = _told(self._long)
        short = _told(_child("memory", self._minute))
        return {
            **_told(_child("speed", self._minute)),
            "peak_mb": found["peak_mb"],
            "peak_minutes": self._long_minutes,
            "peak_mb_of_one_minute": short["peak_mb"],
            "sound_mb": found["sound_mb"],
            "long_x_real_time_cpu": found["x_real_time_cpu"],
        }


def _write(path: Path, seed: int, minutes: float) -> None:
    """Scales of a violin, again and again, as the studio keeps sound for listening."""
    rng = np.random.default_rng([seed, 60])
    pieces: list[np.ndarray] = []
    while sum(map(len, pieces)) < TRIED_MINUTES * 60.0 * SR:
        interval = list(playing.KEYS)[len(pieces) % len(playing.KEYS)]
        pieces.append(playing.scale(interval, "violin", rng).y)
    y = np.concatenate(pieces)[: round(TRIED_MINUTES * 60.0 * SR)]
    write_wav(path, np.tile(y.astype(np.float32), round(minutes / TRIED_MINUTES)))


def _child(what: str, wav: Path) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks.ear.cost", what, str(wav)],
        env={**os.environ, **ONE_THREAD},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def _told(child: "subprocess.Popen[str]") -> dict[str, Any]:
    output, errors = child.communicate()
    if child.returncode:
        raise RuntimeError(f"{' '.join(map(str, child.args))} failed:\n{errors[-2000:]}")
    found: dict[str, Any] = json.loads(output.splitlines()[-1])
    return found


def speed(wav: Path) -> dict[str, Any]:
    """The fastest of ``TIMES`` listenings after a short one."""
    from studio.intonation import Policy, judge, listen
    from studio.media.sound import read_sound

    y, sr = read_sound(wav)
    listen(y[: round(WARM_UP_S * sr)], sr)
    cpu, wall = [], []
    for _ in range(TIMES):
        begun, clock = time.process_time(), time.perf_counter()
        measurement = listen(y, sr)
        cpu.append(time.process_time() - begun)
        wall.append(time.perf_counter() - clock)
    begun = time.perf_counter()
    judge(measurement, Policy())
    judged = time.perf_counter() - begun
    seconds = len(y) / sr
    return {
        "x_real_time_cpu": round(seconds / min(cpu), 1),
        "x_real_time_wall": round(seconds / min(wall), 1),
        "judge_ms": round(1000.0 * judged, 1),
        "events": len(measurement.events),
    }


def memory(wav: Path) -> dict[str, Any]:
    """Peak resident memory of one process that reads and listens, as the worker does."""
    from studio.intonation import listen
    from studio.media.sound import read_sound

    y, sr = read_sound(wav)
    begun = time.process_time()
    listen(y, sr)
    spent = time.process_time() - begun
    status = Path("/proc/self/status").read_text()
    kilobytes = next(int(line.split()[1]) for line in status.splitlines() if "VmHWM" in line)
    return {
        "peak_mb": round(kilobytes / 1024.0),
        "sound_mb": round(y.nbytes / 2**20),
        "x_real_time_cpu": round(len(y) / sr / spent, 1),
    }


if __name__ == "__main__":
    print(json.dumps({"speed": speed, "memory": memory}[sys.argv[1]](Path(sys.argv[2]))))

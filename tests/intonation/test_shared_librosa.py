"""Several processes on a new machine, all using librosa for the first time at once.

Compiling all of it anew takes half a minute of a processor's time, so what is tried here is that
they take turns. Without turns, three processes with an empty cache of numba's die by a segmentation
fault in most tries, and so does every later one: numba's issue 10128 tells why.
"""

import subprocess
import sys
from pathlib import Path

from studio.intonation import shared_librosa
from tests.deploy.processes import until

FIRST_USE = "from studio.intonation.shared_librosa import librosa; print(librosa().__name__)"


def test_the_first_use_waits_while_another_process_has_its_first():
    command = [sys.executable, "-c", FIRST_USE]
    with shared_librosa._alone():
        other = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        until(lambda: waits(other), 60, "the other process waits for its turn")
        assert "llvmlite" not in mapped(other), "numba is loaded with librosa"
    assert other.communicate(timeout=120)[0] == "librosa\n"
    assert other.returncode == 0


def waits(process: subprocess.Popen) -> bool:
    """Whether it waits for a lock, as the kernel tells: proc_locks(5)."""
    blocked = [
        line.split() for line in Path("/proc/locks").read_text().splitlines() if "->" in line
    ]
    return any(str(process.pid) in line for line in blocked)


def mapped(process: subprocess.Popen) -> str:
    """The names of the libraries that it has loaded."""
    return Path(f"/proc/{process.pid}/maps").read_text()

"""Programs that stand in for ffmpeg and ffprobe and are killed, as want of memory kills."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

KILLED = "kill -KILL $$"
WAITS = "exec sleep 987654"  # until somebody else kills it
TOOLS = ("FFMPEG", "FFPROBE")


def stand_in(folder: Path, script: str) -> Path:
    """A program in a folder of its own, which alone the sandbox shows."""
    folder.mkdir(exist_ok=True)
    program = folder / "stand-in"
    program.write_text(f"#!/bin/sh\n{script}\n")
    program.chmod(0o755)
    return program


@contextmanager
def dying(folder: Path, *tools: str, script: str = KILLED) -> Iterator[None]:
    """While this lasts, these tools are killed as soon as they are started."""
    program = stand_in(folder / "dying", script)
    with pytest.MonkeyPatch.context() as patched:
        for tool in tools or TOOLS:
            patched.setenv(tool, str(program))
        yield

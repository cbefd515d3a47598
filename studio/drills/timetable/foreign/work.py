"""A calendar's file read in a child process with bounds, while its teacher waits."""

import json
import sys
import tempfile
from datetime import date
from pathlib import Path

from django.conf import settings

from studio import media
from studio.figures import MB
from studio.media.limits import Limits
from studio.media.runner import run, workbench

from . import child
from .events import NotACalendar

# A file of 2,000 events takes two seconds of processor time and 60 MB.
LIMITS = Limits(memory_bytes=500 * MB, threads=1, threads_4k=1)
CPU_S, LONGEST_S = 6.0, 15.0
NICE = 5  # somebody waits for it
MAX_OUTPUT_BYTES = 5 * MB


def read(data: bytes, zone: str, first: date, last: date) -> dict:
    """What :func:`.reading.lessons_in` says of a file.

    Raises
    ------
    NotACalendar
        As there; and ``too_long`` where reading it did not come to an end within its bounds.
    """
    program, root = Path(sys.executable), settings.BASE_DIR.parent
    with tempfile.NamedTemporaryFile(prefix="calendar-") as file:
        file.write(data)
        file.flush()
        with workbench(program, Path(file.name), shows=(root,)) as bench:
            command = [str(program), "-I", str(Path(child.__file__)), str(root), bench.source]
            try:
                finished = run(
                    [*command, zone, first.isoformat(), last.isoformat()],
                    limits=LIMITS,
                    timeout_s=LONGEST_S,
                    cpu_s=CPU_S,
                    nice=NICE,
                    max_output_bytes=MAX_OUTPUT_BYTES,
                    prefix=bench.prefix,
                )
            except media.Failed as error:
                raise NotACalendar("too_long") from error
    try:
        said = dict(json.loads(finished.stdout)) if finished.exit_code == 0 else None
    except ValueError:
        said = None
    if said is None:
        raise NotACalendar("too_long")
    if "refused" in said:
        raise NotACalendar(said["refused"])
    return said

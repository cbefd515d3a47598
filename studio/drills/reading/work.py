"""The work on one file: the child process and its bounds, and what became of it."""

import json
import sys
import tempfile
from pathlib import Path

from django.conf import settings
from django.db import transaction

from studio import media
from studio.drills.saying import key_name
from studio.drills.stretches import level_of
from studio.figures import MB
from studio.jobs import leases
from studio.media.limits import Limits
from studio.media.runner import run, workbench
from studio.notation import Score

from . import child
from .models import ScoreReading

# A page of music takes 450 MB of address space (60 MB of memory) and two seconds of processor time;
# the most notes that are let in, 270 MB of memory and ten seconds.
LIMITS = Limits(memory_bytes=900 * MB, threads=1, threads_4k=1)
CPU_S, LONGEST_S = 30.0, 120.0
NICE = 5  # somebody waits for it
MAX_OUTPUT_BYTES = 20 * MB


def read(held: ScoreReading) -> None:
    """Read a file and publish what was found, or that (and why) it is no music."""
    with leases.beating(held), tempfile.NamedTemporaryFile(prefix="score-") as file:
        file.write(held.content)
        file.flush()
        said = _ask(Path(file.name), held)
    if "refused" in said:
        leases.judge(held, "not_music", {"sentence": said["refused"]})
        return

    score = Score.from_dict(said["score"])
    said |= {"title": score.title, "key": key_name(score), "instrument": score.instrument}
    said["level"] = level_of(score)

    def publish() -> None:
        with transaction.atomic():
            leases.mark_done(held)
            ScoreReading.objects.filter(pk=held.pk).update(result=said)

    leases.patiently(publish)


def _ask(path: Path, held: ScoreReading) -> dict:
    program, root = Path(sys.executable), settings.BASE_DIR.parent
    title = held.filename.rpartition(".")[0] or held.filename
    with workbench(program, path, shows=(root,)) as bench:
        command = [str(program), "-I", str(Path(child.__file__)), str(root), bench.source]
        finished = run(
            [*command, held.instrument, title, held.part],
            limits=LIMITS,
            timeout_s=LONGEST_S,
            cpu_s=CPU_S,
            nice=NICE,
            max_output_bytes=MAX_OUTPUT_BYTES,
            prefix=bench.prefix,
        )
    try:
        if finished.exit_code == 0:
            return dict(json.loads(finished.stdout))
    except ValueError:
        pass
    raise media.Failed("crashed", exit_code=finished.exit_code, detail=finished.stderr)

"""The work on one print: the child process and its bounds, and what became of it."""

import json
import sys
import tempfile
from pathlib import Path

from django.db import transaction

from studio import media
from studio.figures import MB
from studio.jobs import leases
from studio.media.limits import Limits
from studio.media.runner import run, workbench
from studio.progress.report_rows import ReportPrint, TermReport

from . import child
from .document import document_of

# A report of four pages takes 0.2 s of processor time and 150 MB of memory; the typesetter asks for
# far more address space than it uses.
LIMITS = Limits(memory_bytes=2000 * MB, threads=1, threads_4k=1)
CPU_S, LONGEST_S = 20.0, 60.0
NICE = 5  # somebody waits for it
MAX_OUTPUT_BYTES = 5 * MB


def lay_out(held: ReportPrint) -> None:
    """Print a report and publish the file."""
    with leases.beating(held):
        report = leases.patiently(
            TermReport.objects.select_related(
                "enrolment__pupil", "enrolment__studio", "written_by"
            ).filter(pk=held.report_id).get
        )  # fmt: skip
        content = pdf_of(document_of(report, held.language))

    def publish() -> None:
        with transaction.atomic():
            leases.mark_done(held)
            ReportPrint.objects.filter(pk=held.pk).update(content=content)

    leases.patiently(publish)


def pdf_of(document: dict) -> bytes:
    """The PDF, by a child process.

    Raises
    ------
    media.Failed
        When the child broke its bounds or died.
    """
    with tempfile.NamedTemporaryFile("w", suffix=".json", encoding="utf-8") as file:
        json.dump(document, file)
        file.flush()
        return _ask(Path(file.name))


def _ask(path: Path) -> bytes:
    program, here = Path(sys.executable), Path(child.__file__).parent
    with workbench(program, path, shows=(here,)) as bench:
        finished = run(
            [str(program), "-I", str(child.__file__), bench.source, f"{bench.output}/report.pdf"],
            limits=LIMITS,
            timeout_s=LONGEST_S,
            cpu_s=CPU_S,
            nice=NICE,
            max_output_bytes=MAX_OUTPUT_BYTES,
            prefix=bench.prefix,
        )
        made = bench.folder / "report.pdf"
        if finished.exit_code == 0 and made.is_file():
            return made.read_bytes()
    raise media.Failed("crashed", exit_code=finished.exit_code, detail=finished.stderr)

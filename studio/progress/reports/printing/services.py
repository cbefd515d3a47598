"""Having reports printed, and what became of it."""

import logging

from django.db import transaction

from studio.jobs import leases
from studio.jobs.queue import send
from studio.progress.report_rows import ReportPrint, TermReport

log = logging.getLogger(__name__)

# Whichever worker is free: somebody waits for it, and it takes a second.
TASK, QUEUE = "studio.progress.tasks.print_report", "sweep"


def begin(report: TermReport, language: str) -> ReportPrint:
    """Have a report printed in a language, unless it is or is being; without the file itself."""
    with transaction.atomic():
        held, is_new = ReportPrint.objects.defer("content").get_or_create(
            report=report, language=language
        )
        if is_new:
            transaction.on_commit(lambda: dispatch(held.pk))
    return held


def dispatch(pk) -> bool:
    """Put one on the queue; says whether the broker took it."""
    return send(TASK, QUEUE, {"print_id": str(pk)}, ReportPrint.objects.filter(pk=pk))


def claim(pk: str) -> ReportPrint | None:
    """Take one for work, or ``None`` when there is nothing to take."""
    return leases.take(ReportPrint.objects.filter(pk=pk))


def send_lost() -> None:
    """Send again what was lost; park what workers died at without end."""
    if parked := leases.park_exhausted(ReportPrint):
        log.error("%d prints of reports are parked: workers died at them again and again", parked)
    for held in leases.lost_among(ReportPrint.objects.defer("content")):
        dispatch(held.pk)

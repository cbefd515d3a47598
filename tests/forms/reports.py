"""The forms of term reports."""

from studio.progress.report_rows import TermReport
from studio.progress.reports import services

from .form import GONE, OK_MESSAGE, Form
from .rows import Rows


def _thrown_away(rows: Rows) -> None:
    """In another window."""
    services.throw_away(rows.args["report_write"]["report_id"])


def _given_out(rows: Rows) -> None:
    """By a colleague."""
    report = TermReport.objects.get(pk=rows.args["report_write"]["report_id"])
    services.give_out(report, rows.cast.colleague, "en-gb")


FORMS = {
    "pupil_reports": [
        Form(
            who="teacher",
            at="pupil_reports",
            good={"since": "2026-03-01", "until": "2026-06-30"},
            bad={"until": "2026-02-01"},
            seen="form#draft",
        )
    ],
    "report_write": [
        Form(
            who="teacher",
            at="report_write",
            which="#draft",
            good={"words": "Well held, and even.", "until": "2026-11-01"},
            bad={"until": "2020-01-01"},
            seen=OK_MESSAGE,
        ),
        Form(
            who="teacher",
            at="report_write",
            which="#draft",
            button="[name=give]",
            good={"comes_next": "Sixths"},
            meanwhile=_given_out,
            seen=OK_MESSAGE,
            status=404,
            wrong=GONE,
        ),
    ],
    "report_throw_away": [
        Form(
            who="teacher",
            at="report_write",
            which="#throw",
            seen=OK_MESSAGE,
            meanwhile=_thrown_away,
            status=404,
            wrong=GONE,
        )
    ],
}

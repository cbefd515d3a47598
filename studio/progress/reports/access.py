"""Who may reach which report: a teacher of the studio all, pupil and guardians what is given out.

What was given out stays the family's, also once the lessons have ended or consent is withdrawn; a
teacher needs consent, as for the clips that it is about.
"""

from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404

from studio.accounts import access as people
from studio.accounts.access import get_or_404
from studio.accounts.models import Enrolment, Person
from studio.progress import access
from studio.progress.report_rows import TermReport


def reports_of(enrolment: Enrolment) -> QuerySet[TermReport]:
    """All of a place, the newest period first, for a list: without what each says."""
    rows = TermReport.objects.filter(enrolment=enrolment)
    return rows.defer("words", "comes_next", "frozen").select_related("written_by")


def given_to(enrolment: Enrolment) -> QuerySet[TermReport]:
    """Those of a place that pupil and guardians may read."""
    return reports_of(enrolment).exclude(given_at=None)


def draft(person: Person, pk: UUID) -> TermReport:
    """A report that is not given out, in a studio where ``person`` teaches, or 404.

    Raises
    ------
    ConsentMissing
        While consent does not hold.
    """
    report = _taught(person, pk)
    if report.given_at is not None:
        raise Http404
    return report


def given(person: Person, pk: UUID) -> tuple[TermReport, str]:
    """A report that was given out, and as whom it is read: teacher, guardian or pupil; or 404.

    Raises
    ------
    ConsentMissing
        For a teacher, while consent does not hold.
    """
    report = get_or_404(_reports().exclude(given_at=None), pk)
    if report.enrolment.pupil_id == person.pk:
        return report, "pupil"
    if people.is_home(person, report.enrolment):
        return report, "guardian"
    return _taught(person, pk), "teacher"


def _taught(person: Person, pk: UUID) -> TermReport:
    report = get_or_404(_reports(), pk)
    report.enrolment = access.taught_place(person, report.enrolment_id)
    return report


def _reports() -> QuerySet[TermReport]:
    return TermReport.objects.select_related(
        "enrolment__pupil", "enrolment__studio", "enrolment__teacher", "written_by"
    )

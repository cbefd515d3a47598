"""Beginning, writing, giving out and throwing away reports."""

from datetime import date
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from studio.accounts.models import Enrolment, Person
from studio.progress.report_rows import TermReport

from . import contents
from .printing import services as printing

MOST_DRAFTS = 3  # of a place: chosen; more are forgotten ones


class TooManyDrafts(Exception):
    """So many are begun already that one of them should be finished or thrown away first."""


class NoDraft(Exception):
    """It was given out or thrown away meanwhile."""


def begin(enrolment: Enrolment, teacher: Person, since: date, until: date) -> TermReport:
    """A new draft, with the pictures that are clear.

    Raises
    ------
    TooManyDrafts
    """
    with transaction.atomic():
        list(Enrolment.objects.select_for_update().filter(pk=enrolment.pk))
        drafts = TermReport.objects.filter(enrolment=enrolment, given_at=None)
        if drafts.count() >= MOST_DRAFTS:
            raise TooManyDrafts
        found = contents.answers_of(contents.played_in(enrolment, since, until))
        return TermReport.objects.create(
            enrolment=enrolment,
            written_by=teacher,
            since=since,
            until=until,
            pictures=contents.proposed(found),
        )


def write(report: TermReport, teacher: Person, said: dict) -> None:
    """Keep what was written of a draft: ``since``, ``until``, words, what comes next, pictures.

    Raises
    ------
    NoDraft
    """
    changed = TermReport.objects.filter(pk=report.pk, given_at=None).update(
        **said, written_by=teacher
    )
    if not changed:
        raise NoDraft


def give_out(report: TermReport, teacher: Person, language: str) -> None:
    """Freeze a draft and let pupil and guardians read it; it is printed in ``language`` first.

    Raises
    ------
    NoDraft
    """
    with transaction.atomic():
        drafts = TermReport.objects.select_for_update(of=("self",)).filter(given_at=None)
        held = drafts.select_related("enrolment").filter(pk=report.pk).first()
        if held is None:
            raise NoDraft
        held.frozen = contents.contents_of(held)
        held.written_by, held.given_at = teacher, timezone.now()
        held.save(update_fields=["frozen", "written_by", "given_at"])
        printing.begin(held, language)


def throw_away(report_id: UUID) -> None:
    """A draft goes; what was given out stays."""
    TermReport.objects.filter(pk=report_id, given_at=None).delete()

"""Pages of term reports: the teacher's list and draft; the report as it is read; its PDF."""

from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone, translation
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio.progress import access as progress
from studio.progress.report_rows import ReportPrint, TermReport
from studio.progress.wording import statement

from . import access, contents, services
from .forms import PeriodForm, ReportForm, usual_period
from .printing import services as printing
from .reading import read


@require_http_methods(["GET", "HEAD", "POST"])
def reports(request: HttpRequest, pk: int) -> HttpResponse:
    """A pupil's reports; beginning another one."""
    enrolment = progress.taught_place(request.user, pk)
    form = PeriodForm(request.POST or None, initial=usual_period(timezone.localdate()))
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                begun = services.begin(enrolment, request.user, **form.cleaned_data)
                return redirect("report_write", begun.pk)
            except services.TooManyDrafts:
                said = _("There are %(count)d drafts already. Finish one, or throw one away.")
                form.add_error(None, said % {"count": services.MOST_DRAFTS})
    rows = list(access.reports_of(enrolment))
    context = {
        "enrolment": enrolment,
        "area": "teacher",
        "form": form,
        "drafts": [row for row in rows if row.given_at is None],
        "given": [row for row in rows if row.given_at is not None],
    }
    return render(request, "progress/reports/reports.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
def write(request: HttpRequest, report_id: UUID) -> HttpResponse:
    """A draft: what the teacher writes, and all of it as it will be read."""
    report = access.draft(request.user, report_id)
    form = _form(request, report)
    status = 200
    if request.method == "POST":
        if form.is_valid():
            return _written(request, report, form)
        status = 422
    context = {
        "report": report,
        "enrolment": report.enrolment,
        "area": "teacher",
        "form": form,
        "reading": read(contents.contents_of(report)),
    }
    return render(request, "progress/reports/write.html", context, status=status)


@require_POST
def throw_away(request: HttpRequest, report_id: UUID) -> HttpResponse:
    report = access.draft(request.user, report_id)
    services.throw_away(report.pk)
    messages.success(request, _("The draft is thrown away."))
    return redirect("pupil_reports", report.enrolment_id)


@require_safe
def report(request: HttpRequest, report_id: UUID) -> HttpResponse:
    """A report that was given out, as each reads it."""
    found, area = access.given(request.user, report_id)
    context = {
        "report": found,
        "enrolment": found.enrolment,
        "area": area,
        "reading": read(found.frozen),
        "print": printing.begin(found, _language()),
    }
    return render(request, "progress/reports/report.html", context)


@require_safe
def report_file(request: HttpRequest, report_id: UUID) -> HttpResponse:
    """Its PDF in the reader's language, once it is printed; 404 before."""
    found, _area = access.given(request.user, report_id)
    printed = ReportPrint.objects.filter(
        report=found, language=_language(), state=ReportPrint.State.PRINTED
    ).first()
    if printed is None:
        raise Http404
    response = HttpResponse(bytes(printed.content), content_type="application/pdf")
    name = f"report-{slugify(found.enrolment.pupil.first_name) or 'pupil'}-{found.until}.pdf"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _form(request: HttpRequest, report: TermReport) -> ReportForm:
    found = contents.answers_of(contents.played_in(report.enrolment, report.since, report.until))
    choices = [
        (trend.subject.name, statement(trend, contents.MEASURE, report.until))
        for trend in contents.choices(found)
    ]
    initial = ReportForm.initial_of(report)
    return ReportForm(request.POST or None, initial=initial, choices=choices)


def _written(request: HttpRequest, report: TermReport, form: ReportForm) -> HttpResponse:
    try:
        services.write(report, request.user, form.says())
        if "give" in request.POST:
            services.give_out(report, request.user, _language())
            said = _("The report is given out. %(pupil)s and the guardians can read it now.")
            messages.success(request, said % {"pupil": report.enrolment.pupil.first_name})
            return redirect("report", report.pk)
    except services.NoDraft:
        messages.warning(request, _("This draft was given out or thrown away meanwhile."))
        return redirect("pupil_reports", report.enrolment_id)
    messages.success(request, _("Kept. Below it stands as it will be read."))
    return redirect("report_write", report.pk)


def _language() -> str:
    return translation.get_language() or settings.LANGUAGE_CODE

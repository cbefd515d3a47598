"""All that is printed of a report, as plain values in one language: what ``report.typ`` lays out.

``sections`` have a heading, paragraphs of lines, pictures (SVG with what it says and a table) and
music (SVG with its title). Every word is data to the typesetter.
"""

from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

from studio import figures
from studio.progress.report_rows import TermReport
from studio.progress.reports.reading import Picture, Reading, read


def document_of(report: TermReport, language: str) -> dict:
    with translation.override(language):
        found = read(report.frozen)
        enrolment = report.enrolment
        given = figures.long_date(report.given_at.date()) if report.given_at else ""
        return {
            "language": language.partition("-")[0],
            "given_s": int(report.given_at.timestamp()) if report.given_at else 0,
            "title": _("Term report: %(pupil)s") % {"pupil": enrolment.pupil.name},
            "author": report.written_by.name,
            "under": [
                found.period,
                _("%(teacher)s, %(studio)s, %(day)s")
                % {"teacher": report.written_by, "studio": enrolment.studio.name, "day": given},
            ],
            "page": _("page"),
            "sections": _sections(found, str(report.written_by)),
        }


def _sections(found: Reading, teacher: str) -> list[dict]:
    coming = [list(each.splitlines()) for each in found.comes_next]
    if found.next_keys:
        coming.append([_("The next keys: %(keys)s.") % {"keys": found.next_keys}])
    if found.drills:
        coming.append([_("To practise: %(drills)s.") % {"drills": "; ".join(found.drills)}])
    sections = [
        {
            "heading": _("In %(teacher)s’s words") % {"teacher": teacher},
            "paragraphs": [each.splitlines() for each in found.words],
        },
        {
            "heading": _("What changed"),
            "paragraphs": [[found.compared]],
            "pictures": [_picture(each) for each in found.pictures],
        },
        {
            "heading": _("Keys that were worked through"),
            "paragraphs": [[found.keys]] if found.keys else [],
        },
        {
            "heading": _("What comes next"),
            "paragraphs": coming,
        },
        {
            "heading": _("The music"),
            "paragraphs": [],
            "music": [{"title": each.title, "svg": str(each.svg)} for each in found.music],
        },
    ]
    told = ("paragraphs", "pictures", "music")
    return [
        {"pictures": [], "music": []} | section
        for section in sections
        if any(section.get(name) for name in told)
    ]


def _picture(picture: Picture) -> dict:
    return {
        "sentence": picture.sentence,
        "caption": picture.caption,
        "svg": render_to_string("progress/reports/chart.svg", {"chart": picture.chart}),
        "head": [_("When"), _("Middle"), _("Played")],
        "rows": [[dot.when, dot.value, dot.playings] for dot in picture.chart.dots],
    }

"""Term reports: drafted by the teacher, frozen when given out, read by whom it is for, printed."""

import io
import re
from datetime import timedelta

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from studio.accounts.models import Consent
from studio.accounts.personal_data import answer_of
from studio.drills.models import DrillVersion
from studio.drills.sheets import incipit
from studio.notation import Request, generate
from studio.progress.models import ClipFigures, ReportPrint, TermReport
from studio.progress.reports import services
from studio.progress.reports.printing import services as printing
from studio.progress.reports.printing import work
from studio.progress.reports.printing.document import document_of
from tests.benchmarks.progressing.pupils import Pupil
from tests.cast import as_person, make_drill, set_for
from tests.progress.kept_years import keep_year

IMPROVES = Pupil(name="improves", begins_at=46.0, per_week=-1.0, weeks=24)
# What would be markup to the typesetter, or to a browser, had it been taken for such.
HOSTILE = '#panic("x") *bold* $1/0$ <script>alert(1)</script> \\u{41} @ref // é B♭ „ß“'


@pytest.fixture
def draft(cast):
    clips = keep_year(cast.enrolment, IMPROVES)
    drill = make_drill(cast.teacher, cast.studio, "Octaves in G")
    score = generate(Request(interval="octaves", key="G major"))
    DrillVersion.objects.filter(drill=drill).update(score=score.to_dict(), incipit=incipit(score))
    ClipFigures.objects.filter(clip__in=clips).update(drill=drill.pk)
    set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "Sixths next"))
    today = timezone.localdate()
    return services.begin(cast.enrolment, cast.teacher, today - timedelta(days=180), today)


@pytest.fixture
def given(cast, draft):
    said = {"words": f"Well done.\n\n{HOSTILE}", "comes_next": "Thirds, slowly."}
    services.write(draft, cast.teacher, said)
    services.give_out(draft, cast.teacher, "en-gb")
    return TermReport.objects.get(pk=draft.pk)


def status(person, name, *args) -> int:
    client = Client()
    client.force_login(person, "django.contrib.auth.backends.ModelBackend")
    return client.get(reverse(name, args=args)).status_code


def test_a_new_draft_has_the_pictures_that_are_clear(draft):
    assert "double stops" in draft.pictures
    assert 1 <= len(draft.pictures) <= 3
    assert draft.given_at is None


def test_a_teacher_writes_it_and_gives_it_out(cast, draft):
    client, address = as_person(cast.teacher), reverse("report_write", args=[draft.pk])
    text = client.get(address).content.decode()
    assert re.search(r"Double stops: closer by \d+ ± \d+ cents since", text)
    assert "<svg" in text
    said = {
        "since": draft.since.isoformat(),
        "until": draft.until.isoformat(),
        "words": HOSTILE,
        "comes_next": "",
        "picture_1": draft.pictures[0],
        "picture_2": draft.pictures[0],
    }
    assert client.post(address, said | {"until": "2020-01-01"}).status_code == 422
    kept = client.post(address, said, follow=True).content.decode()
    assert "<script>alert" not in kept
    assert "&lt;script&gt;alert" in kept
    draft.refresh_from_db()
    assert draft.pictures == draft.pictures[:1]
    answer = client.post(address, said | {"give": "1"})
    assert answer.url == reverse("report", args=[draft.pk])
    assert client.get(address).status_code == 404  # it is frozen
    assert client.post(address, said).status_code == 404


def test_nobody_at_home_reads_a_draft(cast, draft):
    assert status(cast.pupil, "report", draft.pk) == 404
    assert status(cast.guardian, "report", draft.pk) == 404
    assert status(cast.pupil, "report_write", draft.pk) == 404
    assert "report" not in answer_rows(cast)


def answer_rows(cast) -> str:
    only = answer_of(TermReport).export.only()
    return " ".join(str(row) for row in TermReport.objects.filter(only))


def test_pupil_and_guardian_read_what_was_given_out(cast, given):
    for person in (cast.pupil, cast.guardian):
        text = as_person(person).get(reverse("report", args=[given.pk])).content.decode()
        assert "Well done." in text
        assert "Thirds, slowly." in text
        assert re.search(r"Double stops: closer by \d+ ± \d+ cents since", text)
        assert "Played most: Octaves in G" in text
        assert "Sixths next" in text
        assert 'class="engraved' in text
    for person in (cast.other_pupil, cast.unlinked_guardian, cast.foreign_teacher):
        assert status(person, "report", given.pk) == 404
        assert status(person, "report_file", given.pk) == 404
    listed = as_person(cast.guardian).get(reverse("child_progress", args=[cast.enrolment.pk]))
    assert reverse("report", args=[given.pk]) in listed.content.decode()


def test_without_consent_it_stays_the_familys(cast, given):
    Consent.objects.update(withdrawn_at=timezone.now(), withdrawn_by=cast.guardian)
    assert status(cast.teacher, "report", given.pk) == 403
    assert status(cast.guardian, "report", given.pk) == 200
    assert "Well done" in answer_row(given)["words"]  # in the family's copy


def answer_row(report) -> dict:
    return answer_of(TermReport).export.row(report)


def test_what_was_given_out_is_frozen(cast, given):
    ClipFigures.objects.all().delete()
    DrillVersion.objects.update(incipit="")
    with pytest.raises(services.NoDraft):
        services.write(given, cast.teacher, {"words": "Other words"})
    with pytest.raises(services.NoDraft):
        services.give_out(given, cast.teacher, "en-gb")
    text = as_person(cast.pupil).get(reverse("report", args=[given.pk])).content.decode()
    assert "closer by" in text
    assert "Well done." in text


def test_the_pdf_says_it_all_and_shows_the_music(cast, given):
    """Read again by another library: its words, its title, its pages, and ink where music is."""
    document = document_of(given, "en-gb")
    made = work.pdf_of(document)
    assert work.pdf_of(document) == made  # nothing in it changes by itself
    pdf = pypdfium2.PdfDocument(made)
    assert 1 <= len(pdf) <= 6
    texts = [page.get_textpage().get_text_range() for page in pdf]
    whole = re.sub(r"\s+", " ", " ".join(texts))
    for said in ("Well done.", HOSTILE, "Thirds, slowly.", "Sixths next", "closer by"):
        assert said in whole, said
    assert pdf.get_metadata_value("Title") == f"Term report: {cast.pupil}"
    width, height = pdf[0].get_size()
    assert (round(width), round(height)) == (595, 842)  # A4, ISO 216: 210 by 297 mm
    assert b"/StructTreeRoot" in made  # tagged, ISO 14289-1
    assert b"/Lang" in made
    assert _ink_under(pdf, "The music") > 2 * _ink_under(
        pypdfium2.PdfDocument(work.pdf_of(_without_music(document))), "The music"
    )


def _without_music(document: dict) -> dict:
    blank = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 3"></svg>'
    sections = [
        section | {"music": [each | {"svg": blank} for each in section["music"]]}
        for section in document["sections"]
    ]
    return document | {"sections": sections}


def _ink_under(pdf, heading: str) -> int:
    """How many dark points lie below a heading, on its page."""
    for page in pdf:
        found = page.get_textpage().search(heading).get_next()
        if found is not None:
            _, bottom, _, _ = page.get_textpage().get_charbox(found[0])
            picture = page.render(scale=1.0, grayscale=True).to_pil()
            below = picture.crop((0, int(page.get_height() - bottom), *picture.size))
            return sum(below.histogram()[:128])
    raise AssertionError(f"{heading} is on no page")


def test_a_worker_prints_it_once_and_the_family_downloads_it(cast, given):
    (held,) = ReportPrint.objects.all()
    assert held.is_moving
    assert status(cast.pupil, "report_file", given.pk) == 404
    taken = printing.claim(str(held.pk))
    work.lay_out(taken)
    assert printing.claim(str(held.pk)) is None
    answer = as_person(cast.guardian).get(reverse("report_file", args=[given.pk]))
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    assert len(pypdfium2.PdfDocument(io.BytesIO(answer.content))) >= 1
    text = as_person(cast.pupil).get(reverse("report", args=[given.pk])).content.decode()
    assert reverse("report_file", args=[given.pk]) in text
    given.delete()
    assert not ReportPrint.objects.exists()


def test_a_period_without_clips_and_a_fourth_draft(cast, draft):
    today = timezone.localdate()
    empty = services.begin(
        cast.enrolment, cast.teacher, today - timedelta(900), today - timedelta(800)
    )
    assert empty.pictures == []
    services.give_out(empty, cast.teacher, "en-gb")
    text = as_person(cast.pupil).get(reverse("report", args=[empty.pk])).content.decode()
    assert "From 0 clips" in text
    for _ in range(2):
        services.begin(cast.enrolment, cast.teacher, today, today)
    client, address = as_person(cast.teacher), reverse("pupil_reports", args=[cast.enrolment.pk])
    said = {"since": today.isoformat(), "until": today.isoformat()}
    assert client.post(address, said).status_code == 422
    assert client.post(reverse("report_throw_away", args=[draft.pk])).status_code == 302
    assert client.post(address, said).status_code == 302

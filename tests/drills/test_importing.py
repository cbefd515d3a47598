"""A drill from a file of music: looked at, kept, refused; and written to a file again."""

import io
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from studio.drills import tasks
from studio.drills.models import Drill, DrillVersion
from studio.drills.reading import services as readings
from studio.notation import Request, generate
from studio.notation.musicxml import read_musicxml, to_musicxml
from tests.cast import as_person, make_drill, set_for
from tests.notation.written_pages import foreign, note

SCORE = generate(Request(key="D major", interval="thirds", hold_s=2.0))
XML = to_musicxml(SCORE).encode()
KEPT = {"title": "Thirds", "words": "Slowly", "interval": "3", "key": "D major", "may_use": "on"}


@pytest.fixture
def teacher(cast, monkeypatch):
    monkeypatch.setattr(readings, "dispatch", lambda pk: True)
    return as_person(cast.teacher)


def send(client, data: bytes, name: str = "thirds.musicxml", **more):
    """Send a file, let the worker read it, and look at the page."""
    answer = client.post("/drills/import/", {"file": SimpleUploadedFile(name, data), **more})
    if answer.status_code != 302:
        return answer
    assert "We are reading it." in client.get(answer.url).content.decode()
    tasks.read_score(answer.url.rstrip("/").rpartition("/")[2])
    return client.get(answer.url)


def compressed(data: bytes) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as archive:
        archive.writestr(
            "META-INF/container.xml",
            '<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>',
        )
        archive.writestr("score.xml", data)
    return held.getvalue()


@pytest.mark.parametrize(
    ("name", "data"), [("a.musicxml", XML), ("a.xml", XML), ("a.mxl", compressed(XML))]
)
def test_a_file_is_looked_at_and_then_kept_with_every_note(cast, teacher, name, data):
    seen = send(teacher, data, name)
    assert seen.status_code == 200
    assert 'data-ref="n1"' in seen.content.decode()
    assert not Drill.objects.exists()
    kept = teacher.post(seen.request["PATH_INFO"], KEPT)
    version = DrillVersion.objects.get()
    assert kept.url == f"/drills/{version.drill_id}/"
    assert version.page == SCORE
    assert (version.source, version.title) == (DrillVersion.Source.IMPORTED, "Thirds")


def test_another_part_of_the_file_and_some_of_its_bars_are_kept(teacher):
    two = foreign(note("G4", 8) + "</measure><measure number='2'>" + note("A4", 8)).replace(
        b"</part-list>",
        b'<score-part id="P2"><part-name>Viola</part-name></score-part></part-list>',
    )
    lower = f"{note('C4', 8)}</measure><measure number='2'>{note('D4', 8)}"
    lower = f'<part id="P2"><measure number="1">{lower}</measure></part></score-partwise>'
    seen = send(teacher, two.replace(b"</score-partwise>", lower.encode()))
    assert "Read this part" in seen.content.decode()
    again = teacher.post(seen.request["PATH_INFO"], {"part": "P2"})
    tasks.read_score(again.url.rstrip("/").rpartition("/")[2])
    refused = teacher.post(again.url, KEPT | {"first_bar": "8", "last_bar": "9"})
    assert refused.status_code == 422
    assert "bars 8 to 9 hold no note" in refused.content.decode()
    teacher.post(again.url, KEPT | {"first_bar": "2", "last_bar": "2"})
    version = DrillVersion.objects.get()
    assert [(str(i.pitches[0]), i.bar) for i in version.page.written] == [("D4", 2)]
    assert (version.instrument, bool(version.incipit)) == ("viola", True)


def test_without_leave_to_use_it_music_is_not_kept(teacher):
    seen = send(teacher, XML)
    answer = teacher.post(seen.request["PATH_INFO"], KEPT | {"may_use": ""})
    assert answer.status_code == 422
    assert "Say that you may use this music, or leave it out." in answer.content.decode()
    assert not Drill.objects.exists()


def test_what_is_worth_saying_of_the_page_is_said(teacher):
    low = XML.replace(b"<octave>4</octave>", b"<octave>2</octave>", 1)
    assert "lies below the violin&#x27;s lowest string" in send(teacher, low).content.decode()


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"Dear teacher", "The file is damaged or is no MusicXML"),
        (b"<!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>", "defines entities of its own"),
        (b"<html/>", "This is no MusicXML score."),
        (b"PK\x03\x04 and then nothing", "The compressed file is damaged."),
        (b" " * 5_000_001, "export only the page you need"),
        (b"", "The file is empty."),
    ],
)
def test_a_file_that_is_no_music_is_refused_with_a_sentence(teacher, data, sentence):
    assert sentence in send(teacher, data).content.decode()
    assert not Drill.objects.exists()


def test_a_reading_is_its_teachers_alone(cast, teacher):
    seen = send(teacher, XML)
    for who in (cast.colleague, cast.foreign_teacher, cast.pupil):
        assert as_person(who).get(seen.request["PATH_INFO"]).status_code == 404


def test_a_drill_is_written_to_a_file_that_reads_the_same(cast, teacher):
    drill = make_drill(cast.teacher, cast.studio, "Thirds in B♭", score=SCORE.to_dict())
    answer = teacher.get(f"/drills/{drill.pk}/musicxml/")
    assert answer["Content-Type"] == "application/vnd.recordare.musicxml+xml"
    assert answer["Content-Disposition"] == 'attachment; filename="thirds-in-b-flat.musicxml"'
    assert read_musicxml(answer.content).score == SCORE


def test_a_drill_in_words_has_no_file_and_no_paper(cast, teacher):
    drill = make_drill(cast.teacher, cast.studio)
    assignment = set_for(cast.enrolment, drill)
    for address in (f"/drills/{drill.pk}", f"/assignments/{assignment.pk}"):
        assert teacher.get(f"{address}/musicxml/").status_code == 404
        assert teacher.get(f"{address}/paper/").status_code == 404


def test_paper_holds_every_bar_of_a_long_drill(cast, teacher):
    long = generate(Request(key="G major", interval="thirds", octaves=2))
    drill = make_drill(cast.teacher, cast.studio, score=long.to_dict())
    pages = teacher.get(f"/drills/{drill.pk}/paper/").context["pages"]
    assert sum(page.count('class="measure"') for page in pages) == len(long.bars)

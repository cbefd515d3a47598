"""A file of music is read by a worker, in a child with bounds; no web process bears its cost."""

import gc
import io
import resource
import time
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from studio.drills import tasks
from studio.drills.models import Drill, ScoreReading
from studio.drills.reading import services, work
from studio.figures import MB
from studio.jobs.dead_letters import try_again
from studio.media.limits import Limits
from studio.notation import Request, generate
from studio.notation.musicxml import to_musicxml
from tests.cast import as_person

pytestmark = pytest.mark.django_db(transaction=True)

GOOD = to_musicxml(generate(Request(key="D major", interval="thirds"))).encode()
HEAD = (
    '<score-partwise version="3.1"><part-list><score-part id="P1"><part-name>Violin</part-name>'
    '</score-part></part-list><part id="P1">'
)
FIRST = "<attributes><divisions>1</divisions></attributes>"
TAIL = "</part></score-partwise>"
WEB_CPU_S, WEB_MB = 0.1, 20


def note(duration: str = "1", more: str = "", voice: int = 1) -> str:
    return (
        f"<note>{more}<pitch><step>A</step><octave>4</octave></pitch>"
        f"<duration>{duration}</duration><voice>{voice}</voice></note>"
    )


def bars(count: int, inside: str = "", first: str = FIRST) -> bytes:
    made = "".join(
        f'<measure number="{number}">{first if number == 1 else ""}{inside}</measure>'
        for number in range(1, count + 1)
    )
    return (HEAD + made + TAIL).encode()


def squeezed(text: bytes) -> bytes:
    """A compressed file (.mxl) of the text: a few kilobytes, whatever it holds."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        container = '<container><rootfiles><rootfile full-path="a.xml"/></rootfiles></container>'
        archive.writestr("META-INF/container.xml", container)
        archive.writestr("a.xml", text)
    return held.getvalue()


BILLION = (
    b'<!DOCTYPE a [<!ENTITY a "lol"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
    b"<score-partwise>&b;</score-partwise>"
)
# What each is, the file, and what is said of it.
HOSTILE = {
    "20 MB in 20 KB": (lambda: squeezed(bars(1, note() * 150_000)), "16000 notes"),
    "more than unpacks": (lambda: squeezed(b"<" * 21_000_000), "larger than 20 MB"),
    "a million bars": (lambda: squeezed(bars(300_000, first="")), "4000 bars"),
    "nested without end": (lambda: b"<score-partwise>" + b"<a>" * 100_000, "nested too deeply"),
    "an entity bomb": (lambda: BILLION, "defines entities of its own"),
    "huge divisions": (
        lambda: bars(2, note(), f"<attributes><divisions>{'9' * 4000}</divisions></attributes>"),
        "(divisions) has 4000 digits",
    ),
    "a huge duration": (lambda: bars(2, note("9" * 12)), "(duration) has 12 digits"),
    "a huge attribute": (
        lambda: (HEAD + f'<measure number="{"1" * 4_000_000}">' + note() + TAIL).encode(),
        "far too long for music",
    ),
    "thousands at once": (
        lambda: bars(1, note() + note(more="<chord/>") * 5000),
        "notes at once; four strings hold 4",
    ),
    "held against each other": (
        lambda: bars(1, "".join(note("9999", voice=n) + backup for n in range(1, 3000))),
        "notes at once; four strings hold 4",
    ),
    "a bar without end": (lambda: bars(1, note() * 3000), "at most 128 can be drawn in one bar"),
    "repeats of repeats": (lambda: bars(3000, REPEAT + note()), ""),
    "the longest drill": (lambda: bars(1000, note() * 4), ""),
    "elements without notes": (lambda: bars(1, "<x/>" * 400_000), "250000 parts in all"),
}
backup = "<backup><duration>9999</duration></backup>"
REPEAT = (
    '<barline location="left"><repeat direction="forward"/></barline>'
    '<barline location="right"><repeat direction="backward" times="99999"/></barline>'
)


@pytest.fixture
def teacher(cast, monkeypatch):
    monkeypatch.setattr(services, "dispatch", lambda pk: True)
    client = as_person(cast.teacher)
    client.get("/drills/import/")  # what the first page of a process loads
    return client


def in_web(what):
    """What it gives, and what it cost this process: seconds of processor time, megabytes more."""
    gc.collect()  # what other tests left is not this one's cost
    before, peak = time.process_time(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    given = what()
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - peak
    return given, time.process_time() - before, grown / 1024


def post(client, data: bytes) -> str:
    file = SimpleUploadedFile("page.mxl", data)
    answer = client.post("/drills/import/", {"file": file})
    assert answer.status_code == 302
    return answer.url


def read(address: str) -> ScoreReading:
    tasks.read_score(address.rstrip("/").rpartition("/")[2])
    return ScoreReading.objects.get()


@pytest.mark.sweep(1 / 2)
@pytest.mark.parametrize("name", HOSTILE)
def test_what_a_file_costs_is_borne_by_a_child_and_said_in_a_sentence(teacher, name, monkeypatch):
    make, sentence = HOSTILE[name]
    data = make()
    seen = []
    really = work.run
    monkeypatch.setattr(
        work, "run", lambda *args, **more: seen.append(more) or really(*args, **more)
    )
    address, cpu_s, grown_mb = in_web(lambda: post(teacher, data))
    assert cpu_s < WEB_CPU_S
    assert grown_mb < WEB_MB
    found = read(address)
    page, cpu_s, grown_mb = in_web(lambda: teacher.get(address))
    assert cpu_s < WEB_CPU_S
    assert grown_mb < WEB_MB
    assert seen, "a child read it"
    if sentence:
        assert (found.state, found.failure_code) == ("failed", "not_music")
        assert sentence in page.text
        assert "Choose another file" in page.text
    else:
        assert found.state == "read", found.failure_detail
        assert "Put it on the shelf" in page.text
        said = {"title": "Long", "words": "Slowly", "may_use": "on"}
        kept, cpu_s, grown_mb = in_web(lambda: teacher.post(address, said))
        assert kept.status_code == 302
        assert cpu_s < WEB_CPU_S


def test_a_child_that_dies_is_our_failure_tried_again_then_said(teacher, monkeypatch):
    """A real bound on the address space kills it, three times; then there is enough."""
    address = post(teacher, GOOD)
    with monkeypatch.context() as patched:
        patched.setattr(work, "LIMITS", Limits(memory_bytes=60 * MB, threads=1, threads_4k=1))
        for attempt in (1, 2, 3):
            found = read(address)
            assert (found.attempt, found.state) == (
                attempt,
                "parked" if attempt == 3 else "waiting",
            )
            page = teacher.get(address).text
            assert "That is our fault, and your file is kept." in page
    assert "has been asked to look at it" in page
    assert try_again(f"drills.scorereading/{found.pk}") == 1
    assert read(address).state == "read"


def test_a_child_that_runs_on_is_stopped(teacher, monkeypatch):
    monkeypatch.setattr(work, "CPU_S", 0.01)
    found = read(post(teacher, squeezed(bars(1000, note() * 4))))
    assert (found.state, found.failure_code) == ("waiting", "timeout")


def test_old_readings_go_and_one_person_has_a_few_at_most(teacher):
    for _ in range(services.MOST + 2):
        post(teacher, GOOD)
    assert ScoreReading.objects.count() == services.MOST
    ScoreReading.objects.update(created_at="2020-01-01T00:00Z", state="read")
    services.send_lost()
    assert not ScoreReading.objects.exists()
    assert not Drill.objects.exists()

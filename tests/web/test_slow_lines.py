"""Nobody stops the studio from outside: lines that are slow on purpose leave the pages quick.

Every attack is tried against the program alone, and against the deployed nginx in front of it.
"""

import hashlib
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from django.conf import settings

from studio.clips.models import Rendition, Upload
from studio.clips.uploads import services
from tests.cast import as_person, enrol, make_clip, person
from tests.clips.uploads.connections import offset_of, recording
from tests.deploy.processes import until
from tests.web import doors as ways_in
from tests.web import slow_lines

pytestmark = pytest.mark.django_db(transaction=True)

doors = ways_in.doors  # the fixture

LINES = 200
MOST_S = 1.0  # a page, meanwhile
HUGE = 300_000_000

FORM = "application/x-www-form-urlencoded"
ATTACKS = {
    "silent lines": (b"", b"", 1.0),
    "heads of a byte now and then": (b"GET / HTTP/1.1\r\nHost: localhost\r\nX: ", b"x", 0.5),
    "bodies of a byte now and then": (
        slow_lines.head("POST", "/log-in/", Content_Length=5000, Content_Type=FORM),
        b"x",
        0.5,
    ),
    "long bodies to the log-in, slowly": (
        slow_lines.head(
            "POST",
            "/log-in/",
            Content_Length=HUGE,
            Content_Type="multipart/form-data; boundary=b",
        ),
        b"x" * 50,
        0.5,
    ),
    "uploads by nobody, slowly": (
        slow_lines.head(
            "PATCH",
            "/uploads/00000000-0000-4000-8000-000000000000/",
            Content_Length=HUGE,
            Content_Type="application/offset+octet-stream",
            Tus_Resumable="1.0.0",
            Upload_Offset=0,
        ),
        b"x" * 50,
        0.5,
    ),
    "bodies of unknown length": (
        slow_lines.head("POST", "/send/", Transfer_Encoding="chunked"),
        b"1\r\nx\r\n",
        0.5,
    ),
}


@pytest.mark.parametrize("door", ["program", "nginx"])
def test_nobody_stops_the_studio_from_outside(doors, cast, door):
    slow_lines_leave_the_pages_quick(doors, door)
    what_a_stranger_sends_does_not_reach_the_disk(doors, door)
    pages_come_while_sixteen_send_over_slow_lines(doors, cast, door)


def slow_lines_leave_the_pages_quick(doors, door) -> None:
    opened = doors.open(door)
    took = {}
    for name, (first, drop, every_s) in ATTACKS.items():
        with slow_lines.lines(LINES, opened, first, drop, every_s):
            time.sleep(1.0)
            took[name] = round(slow_lines.slowest_page(opened), 3)
    print(door, took)
    assert {name: s for name, s in took.items() if s > MOST_S} == {}


def what_a_stranger_sends_does_not_reach_the_disk(doors, door) -> None:
    """300 MB as fast as they go, to the log-in and as a recording: refused, and not kept."""
    kept_before = _bytes_below(settings.STUDIO_DATA)
    most = 0
    for path, kind in {
        "/log-in/": "multipart/form-data; boundary=b",
        "/send/": "multipart/form-data; boundary=b",
        "/uploads/": "application/offset+octet-stream",
    }.items():
        first = slow_lines.head("POST", path, Content_Length=HUGE, Content_Type=kind) + FILE
        sent, answer = slow_lines.pushed(doors.open(door)(), first, HUGE)
        most = max(most, _bytes_below(settings.STUDIO_DATA) - kept_before)
        most = max(most, _bytes_below(doors.nginx.folder))
        assert answer[9:12] in (b"200", b"302", b"400", b"401", b"403", b"413"), (path, answer)
        assert sent < HUGE
    assert most < 1_000_000, most


FILE = b'--b\r\nContent-Disposition: form-data; name="recording"; filename="a.wav"\r\n\r\n'


def _bytes_below(folder: Path) -> int:
    return sum(file.stat().st_blocks * 512 for file in folder.rglob("*") if file.is_file())


def _begun(cast, number: int, size: int) -> Upload:
    """The upload of one more pupil, of which nothing has come yet."""
    pupil = person(f"Pupil {number}", cast.studio, "pupil")
    return services.begin(enrol(pupil, cast.studio, cast.teacher), pupil, size, "")


def _patching(upload: Upload, opened: slow_lines.Open) -> socket.socket:
    """A line that has announced all that is missing."""
    line = opened()
    line.sendall(
        slow_lines.head(
            "PATCH",
            f"/uploads/{upload.pk}/",
            as_person(upload.person).cookies["session"].value,
            Content_Length=upload.length_bytes - upload.offset_bytes,
            Content_Type="application/offset+octet-stream",
            Tus_Resumable="1.0.0",
            Upload_Offset=upload.offset_bytes,
        )
    )
    return line


PUPILS = 16
SLOW_BYTES_S = 12_500  # 100 kbit/s


def pages_come_while_sixteen_send_over_slow_lines(doors, cast, door) -> None:
    data = recording(4_000_000)
    uploads = [_begun(cast, number, len(data)) for number in range(PUPILS)]
    sending = [_patching(upload, doors.open(door)) for upload in uploads]
    done = threading.Event()

    def send_all() -> None:
        sent = 0
        while not done.wait(0.5):
            for line in sending:
                line.sendall(data[sent : sent + SLOW_BYTES_S // 2])
            sent += SLOW_BYTES_S // 2

    sender = threading.Thread(target=send_all, daemon=True)
    sender.start()
    time.sleep(3)
    slowest = slow_lines.slowest_page(doors.open(door), 20)
    until(lambda: all(offset_of(upload) > 50_000 for upload in uploads), 60, "all go on")
    done.set()
    sender.join()
    for line in sending:
        line.close()
    print(door, "16 slow uploads:", round(slowest, 3))
    assert slowest < MOST_S


@pytest.fixture
def long_film(cast) -> Iterator[tuple[str, bytes]]:
    """The address of a playable copy of 10 MB, and its bytes."""
    content = np.random.default_rng(2).bytes(10_000_000)
    clip = make_clip(cast.enrolment)
    file = settings.MEDIA_ROOT / "long-film.mp4"
    file.write_bytes(content)
    Rendition.objects.create(
        clip=clip,
        kind=Rendition.Kind.PLAYABLE,
        path=file.name,
        content_type="video/mp4",
        size_bytes=len(content),
        sha256=hashlib.sha256(content).hexdigest(),
    )
    yield f"/clips/{clip.pk}/media/", content
    file.unlink()


def test_players_that_stand_still_and_lines_that_break(doors, cast, long_film):
    a_player_that_stands_still_holds_no_thread(doors, cast, long_film)
    what_came_is_kept_when_a_line_falls_silent(doors, cast)
    even_the_first_bytes_are_kept_when_a_line_breaks(doors, cast)


def a_player_that_stands_still_holds_no_thread(doors, cast, long_film) -> None:
    """More players than there are threads, each paused with its line open."""
    opened, (path, content) = doors.open("program"), long_film
    session = as_person(cast.pupil).cookies["session"].value
    players = [opened() for _ in range(40)]
    for player in players:
        player.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 16)
        player.sendall(slow_lines.head("GET", path, session))
    time.sleep(2)
    slowest = slow_lines.slowest_page(opened)
    print("40 paused players:", round(slowest, 3))
    assert slowest < MOST_S
    got = slow_lines.taken(players[0])
    assert got.partition(b"\r\n\r\n")[2] == content
    for player in players:
        player.close()


def what_came_is_kept_when_a_line_falls_silent(doors, cast) -> None:
    """A line that is dead without a word lets go of the upload; the next goes on from what came."""
    data = recording(400_000)
    upload = _begun(cast, 101, len(data))
    line = _patching(upload, doors.open("program"))
    line.sendall(data[:123_457])
    until(lambda: offset_of(upload) == 123_457, 40, "all that came is kept")
    assert line.recv(12) == b"HTTP/1.1 400"
    with _patching(upload, doors.open("program")) as again:
        again.sendall(data[123_457:])
        assert again.recv(12) == b"HTTP/1.1 204"


def even_the_first_bytes_are_kept_when_a_line_breaks(doors, cast) -> None:
    upload = _begun(cast, 102, 400_000)
    with _patching(upload, doors.open("program")) as line:
        line.sendall(b"x" * 777)
    until(lambda: offset_of(upload) == 777, 10, "they are kept")

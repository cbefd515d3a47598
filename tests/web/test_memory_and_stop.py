"""The web process stays small while recordings come, and stops in time whoever holds a line."""

import http.client
import random
import re
import signal
import socket
import time
from pathlib import Path

import psutil
import pytest

from studio.clips.models import Clip, Upload
from tests.clips.uploads.connections import begun_patch, headers, recording
from tests.deploy.processes import ROOT, free_port, running, until
from tests.web import slow_lines
from tests.web_process import Web

pytestmark = pytest.mark.django_db(transaction=True)

MB = 1_000_000
RECORDING_BYTES = 30 * MB
GROWTH_MB = 60.0  # over ten of them, at its highest
GRACE_S = 8.0  # as one that is deployed, in less time
SILENT, HEADS, STANDING = 24, 23, 3  # fifty slow lines


@pytest.fixture
def web(tmp_path, settings) -> Web:
    settings.MEDIA_ROOT = (
        tmp_path / "media"
    )  # the process writes there, and counts its uploads there
    return Web(free_port(), tmp_path)


# -- memory ----------------------------------------------------------------------------------------


def test_ten_recordings_of_30_mb_leave_the_process_small(cast, web):
    """Five in pieces' way, five by the plain form; what it needed at most is what counts."""
    noise = recording(RECORDING_BYTES)
    with web.started() as process:
        for send in (by_upload, by_form):  # what the first of each loads is no growth
            send(web, cast.pupil, altered(recording(MB), seed=send.__name__))
        before = most_mb(process)
        for number in range(10):
            (by_upload, by_form)[number % 2](web, cast.pupil, altered(noise, seed=number))
        grown = most_mb(process) - before
    print(f"grown by {grown:.1f} MB over {before:.0f} MB")
    assert Clip.objects.filter(intake=Clip.Intake.RECEIVED).count() == 12
    assert grown < GROWTH_MB


def altered(data: bytes, seed: object) -> bytes:
    """As long, but another recording: of the same one a second clip is asked about."""
    return data[:-64] + random.Random(str(seed)).randbytes(64)


def by_upload(web: Web, who, data: bytes) -> None:
    said = {"Tus-Resumable": "1.0.0", "Upload-Length": str(len(data))}
    begun = asked(web, who, "POST", "/uploads/", b"", said)
    assert begun == 201
    upload = Upload.objects.filter(person=who, clip=None).get()
    said = {"Tus-Resumable": "1.0.0", "Upload-Offset": "0"}
    said["Content-Type"] = "application/offset+octet-stream"
    assert asked(web, who, "PATCH", f"/uploads/{upload.pk}/", data, said) == 204


def by_form(web: Web, who, data: bytes) -> None:
    begins = b'--b\r\nContent-Disposition: form-data; name="recording"; filename="a.wav"\r\n'
    body = begins + b"Content-Type: audio/wav\r\n\r\n" + data + b"\r\n--b--\r\n"
    said = {"Content-Type": "multipart/form-data; boundary=b"}
    assert asked(web, who, "POST", "/send/", body, said) == 302


def asked(web: Web, who, method: str, path: str, body: bytes, said: dict[str, str]) -> int:
    connection = http.client.HTTPConnection("127.0.0.1", web.port, timeout=60)
    connection.request(method, path, body=body, headers=headers(who) | said)
    answer = connection.getresponse()
    answer.read()
    connection.close()
    return answer.status


def most_mb(process: psutil.Process) -> float:
    """The most memory that each of its processes has held, in MB, added up."""
    family = [process, *process.children(recursive=True)]
    return sum(map(_most_kb, family)) / 1000


def _most_kb(process: psutil.Process) -> int:
    lines = Path(f"/proc/{process.pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM"))


# -- stopping --------------------------------------------------------------------------------------


def test_it_stops_in_time_with_fifty_slow_lines_and_answers_what_runs(cast, web):
    """Silent lines, heads of a byte now and then, uploads that stand still; two honest requests."""
    opened = slow_lines.plain(web.port)
    with web.started(GUNICORN_CMD_ARGS=f"--graceful-timeout={GRACE_S:g}") as process:
        family = [process, *process.children(recursive=True)]
        honest = [_patching(web, cast.pupil, 1000) for _ in range(2)]
        standing = [_patching(web, cast.pupil, MB) for _ in range(STANDING)]
        with (
            slow_lines.lines(SILENT, opened, b"", b"", 1.0),
            slow_lines.lines(HEADS, opened, b"GET / HTTP/1.1\r\nX: ", b"x", 0.5),
        ):
            for line in (*honest, *standing):
                line.sendall(b"x" * 500)
            time.sleep(1.0)  # it has heard of every line
            began = time.monotonic()
            process.send_signal(signal.SIGTERM)
            time.sleep(0.5)
            answers = [_rest_of(line, b"x" * 500) for line in honest]
            until(lambda: not running(family), GRACE_S + 5, "its end")
            took = time.monotonic() - began
            told = [line.recv(12) for line in standing]
    for line in standing:
        line.close()
    print(f"stopped after {took:.1f} s")
    assert answers == [b"HTTP/1.1 204", b"HTTP/1.1 204"]
    assert told == [b"HTTP/1.1 400"] * STANDING  # by itself: who is killed says nothing
    assert took < GRACE_S
    assert deployed_grace_s() > GRACE_S
    with pytest.raises(ConnectionRefusedError):
        opened()
    whole = Clip.objects.count()
    kept = Upload.objects.filter(length_bytes=MB).values_list("offset_bytes", flat=True)
    assert (whole, list(kept)) == (2, [500] * STANDING)


def _patching(web: Web, who, size_bytes: int) -> socket.socket:
    """A line that has announced all of a recording's bytes."""
    before = set(Upload.objects.values_list("pk", flat=True))
    said = {"Tus-Resumable": "1.0.0", "Upload-Length": str(size_bytes)}
    assert asked(web, who, "POST", "/uploads/", b"", said) == 201
    return begun_patch(web, who, Upload.objects.exclude(pk__in=before).get(), 0, size_bytes)


def _rest_of(line: socket.socket, data: bytes) -> bytes:
    with line:
        line.sendall(data)
        return line.recv(12)


def deployed_grace_s() -> float:
    """Read, not imported: whoever imports the settings is a web process from then on."""
    text = (ROOT / "studio" / "gunicorn_settings.py").read_text()
    return float(re.search(r"^graceful_timeout = (\d+)", text, re.MULTILINE)[1])

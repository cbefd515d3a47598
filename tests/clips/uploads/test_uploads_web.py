"""Uploads into a real web process: another's client, kills, two connections at once, nginx."""

import hashlib
import http.client
import io
import signal
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from tusclient.client import TusClient
from tusclient.uploader import Uploader

from studio.clips.models import Clip, Upload
from studio.clips.uploads import partial
from tests.clips.uploads.connections import begun_patch, headers, offset_of, recording
from tests.deploy.processes import free_port, running, until
from tests.samples import SAMPLE
from tests.servers import Nginx
from tests.web_process import Web

pytestmark = pytest.mark.django_db(transaction=True)
MB = 1_000_000
AT_ONCE = 60


@pytest.fixture
def web(tmp_path, media_root) -> Web:
    assert media_root == tmp_path / "media"
    return Web(free_port(), tmp_path)


def client(web: Web, who) -> TusClient:
    return TusClient(f"http://127.0.0.1:{web.port}/uploads/", headers=headers(who))


def file_of(upload: Upload) -> Path:
    return partial.path(upload.pk)


def begin(web: Web, who, data: bytes) -> tuple[Uploader, Upload]:
    uploader = client(web, who).uploader(
        file_stream=io.BytesIO(data), chunk_size=5 * MB, metadata={"filename": "noise.wav"}
    )
    uploader.set_url(uploader.create_url())
    return uploader, Upload.objects.get(person=who)


@pytest.mark.fault(
    4,
    "the web process killed in the middle of a chunk",
    "HEAD tells what was synced, the upload goes on, the hash is right",
)
def test_a_killed_web_process_costs_a_few_megabytes_at_most(cast, web, seen):
    data = recording(24 * MB)
    with web.started("first") as process:
        _, upload = begin(web, cast.pupil, data)
        with begun_patch(web, cast.pupil, upload, 0, len(data)) as connection:
            sent = 15 * MB
            connection.sendall(data[:sent])
            until(lambda: offset_of(upload) >= sent - 2 * partial.SYNC_BYTES, 30, "bytes synced")
            family = [process, *process.children(recursive=True)]
            for member in reversed(family):
                member.send_signal(signal.SIGKILL)
            until(lambda: not running(family), 10, "all of it has ended")
    with web.started("second"):
        again = client(web, cast.pupil).uploader(
            file_stream=io.BytesIO(data), url=_address(web, upload), chunk_size=5 * MB
        )
        kept = again.get_offset()
        assert sent - 2 * partial.SYNC_BYTES <= kept <= sent
        assert file_of(upload).read_bytes()[:kept] == data[:kept]
        again.offset = kept
        again.upload()
    clip = Clip.objects.get()
    assert clip.original.sha256 == hashlib.sha256(data).hexdigest()
    assert (clip.intake, clip.original.size_bytes) == (Clip.Intake.RECEIVED, len(data))
    seen(f"HEAD told {kept} of {sent} bytes sent; the whole of {len(data)} has the right hash")


def _address(web: Web, upload: Upload) -> str:
    return f"http://127.0.0.1:{web.port}/uploads/{upload.pk}/"


@pytest.mark.fault(
    36, "two connections send to one upload at once", "one wins, the other is told to wait"
)
def test_of_two_connections_at_once_one_writes(cast, web, seen):
    data = recording(3 * MB)
    with web.started():
        _, upload = begin(web, cast.pupil, data)
        with begun_patch(web, cast.pupil, upload, 0, len(data)) as first:
            first.sendall(data[:MB])
            until(lambda: file_of(upload).stat().st_size > 0, 20, "the first is writing")
            with begun_patch(web, cast.pupil, upload, 0, len(data)) as second:
                second.sendall(b"\xff" * len(data))
                second_said = second.recv(12)
            first.sendall(data[MB:])
            first_said = first.recv(12)
        what_came_before_a_break_is_kept(web, cast.other_pupil)
    assert (first_said, second_said) == (b"HTTP/1.1 204", b"HTTP/1.1 423")
    clip = Clip.objects.get(enrolment=cast.enrolment)
    assert clip.original.sha256 == hashlib.sha256(data).hexdigest()
    seen("204 and 423; one clip, its hash is that of the first")


@pytest.mark.parametrize("bound", ["half sent", "in a day"])
def test_sixty_requests_at_once_begin_no_more_than_may_be(cast, web, settings, bound):
    """Over real connections, in one process with the threads it is served with."""
    most = settings.MAX_UNFINISHED_UPLOADS if bound == "half sent" else 3
    variables = {} if bound == "half sent" else {"DAILY_CLIPS_PUPIL": "3"}
    said = headers(cast.pupil) | {"Tus-Resumable": "1.0.0", "Upload-Length": "1000"}
    gate = threading.Barrier(AT_ONCE)

    def one(number: int) -> tuple[int, str]:
        connection = http.client.HTTPConnection("127.0.0.1", web.port, timeout=60)
        gate.wait(60)
        connection.request("POST", "/uploads/", headers=said)
        answer = connection.getresponse()
        found = answer.status, answer.read().decode()
        connection.close()
        return found

    with web.started(bound.replace(" ", "-"), **variables), ThreadPoolExecutor(AT_ONCE) as pool:
        answers = list(pool.map(one, range(AT_ONCE)))
    refused = [text for status, text in answers if status != 201]
    assert Counter(status for status, _ in answers) == {201: most, 429: AT_ONCE - most}
    assert all(refused)
    assert len(set(refused)) == 1
    assert ("half-sent" if bound == "half sent" else "3 recordings in the last") in refused[0]
    assert Upload.objects.count() == most
    assert len(list(partial.store().bench().glob("upload-*"))) == most


def what_came_before_a_break_is_kept(web, who) -> None:
    """In the same web process, since starting one takes seconds."""
    data = recording(6 * MB)
    uploader, upload = begin(web, who, data)
    with begun_patch(web, who, upload, 0, len(data)) as connection:
        connection.sendall(data[: 2 * MB])
    until(lambda: offset_of(upload) >= 2 * MB - (1 << 16), 20, "what came is synced")
    uploader.offset = uploader.get_offset()
    uploader.upload()
    clip = Clip.objects.get(enrolment__pupil=who)
    assert clip.original.sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.filterwarnings("ignore:Unverified HTTPS")  # made for this test
def test_another_projects_client_sends_through_nginx(cast, tmp_path, media_root):
    """tuspy, with checksums, in many pieces, to the deployed site."""
    web = Web(free_port(), tmp_path, https=True)
    with web.started():
        nginx = Nginx(web.port, media_root)
        try:
            nginx.start()
            said = headers(cast.pupil, "__Host-")
            said |= {"Referer": f"https://localhost:{nginx.port}/send/"}
            address = f"https://localhost:{nginx.port}/uploads/"
            uploader = TusClient(address, headers=said).uploader(
                str(SAMPLE),
                chunk_size=20_000,
                metadata={"filename": "a.mp4", "title": "Octaves"},
                verify_tls_cert=False,
                upload_checksum=True,
            )
            uploader.upload()
        finally:
            nginx.remove()
    clip = Clip.objects.get()
    assert clip.title == "Octaves"
    assert clip.original.sha256 == hashlib.sha256(SAMPLE.read_bytes()).hexdigest()

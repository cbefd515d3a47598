"""How soon a phone's clip is heard, and how much one and two listening workers hear.

    deploy/measure throughput [--quick]

A recording like a phone's (three minutes, 1080p, some 12 Mbit/s, bowed double stops) is sent over
HTTP to a studio of real processes on SQLite and the file queue, as ``studio serve`` starts them.
*marks_s* is from the moment its last byte has left the sender until its marks are there; the
recording must be copied whole, looked at and heard by then. Then several come at once; *heard* is
minutes of recording heard in a minute, by one worker and by two. The pictures' worker makes its
copies meanwhile, as it would, on the same cores.
"""

import argparse
import contextlib
import http.client
import json
import os
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit
from uuid import uuid4

import psutil

from tests.deploy.processes import free_port, started, until

from .loading.serving import set_up

MARKS_S = 15.0  # the most there may be
LENGTH_S, PICTURE_S = 180, 10
AT_ONCE, FEWER = 4, 2
PATIENCE_S = 1200.0
PHONE = ("-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-g", "30")
RATE = ("-b:v", "12M", "-maxrate", "14M", "-bufsize", "6M")
ALIVE = "testsrc2=size=1920x1080:rate=30,noise=alls=20:allf=t"
FURTHER = ("worker", "--concurrency=1", "-n", "further@%h", "-Q", "listening,sweep")


def film(folder: Path) -> bytes:
    """Three minutes as a phone films them: the picture is ten seconds, again and again."""
    from sample_media.make import build
    from tests.media.recordings import ffmpeg

    sound, picture, clip = build("octaves-in-b-flat"), folder / "picture.mp4", folder / "phone.mp4"
    ffmpeg("-f", "lavfi", "-i", ALIVE, "-t", str(PICTURE_S), *PHONE, *RATE, str(picture))
    again = ("-stream_loop", "-1", "-i")
    both = (*again, str(picture), *again, str(sound), "-map", "0:v", "-map", "1:a")
    coding = ("-c:v", "copy", "-c:a", "aac", "-b:a", "160k")
    ffmpeg(*both, "-t", str(LENGTH_S), *coding, str(clip))
    return clip.read_bytes()


@contextlib.contextmanager
def studio(folder: Path) -> Iterator[tuple[str, list]]:
    """A served studio, its address and pupils who may send."""
    set_up(folder / "data")
    from tests.cast import make_cast

    cast = make_cast()
    port = free_port()
    os.environ["PORT"] = str(port)
    command = [sys.executable, "-m", "studio", "serve"]
    with started(command, folder / "studio.log", PORT=str(port)):
        until(lambda: _answers(port), 120, f"an answer on port {port}")
        yield f"http://127.0.0.1:{port}", [cast.pupil, cast.other_pupil]


def _answers(port: int) -> bool:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=2)
    with contextlib.suppress(OSError, http.client.HTTPException):
        connection.request("GET", "/log-in/")
        return connection.getresponse().status == 200
    return False


class Sender:
    """A pupil's browser that sends with the plain form and knows when its last byte has left."""

    def __init__(self, url: str, pupil) -> None:
        from tests.cast import as_person

        self._address = urlsplit(url).netloc
        self._token = uuid4().hex
        session = as_person(pupil).cookies["session"].value
        self._cookie = f"session={session}; csrf={self._token}"

    def send(self, recording: bytes, title: str) -> float:
        """Send it; when the last byte had left. Each has another end, so that none is a copy."""
        from django.core.files.uploadedfile import SimpleUploadedFile
        from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart

        own = recording + (12).to_bytes(4, "big") + b"free" + uuid4().bytes[:4]
        fields = {"title": title, "upload_key": uuid4().hex, "csrfmiddlewaretoken": self._token}
        body = encode_multipart(
            BOUNDARY, {**fields, "recording": SimpleUploadedFile("IMG.mp4", own)}
        )
        connection = http.client.HTTPConnection(self._address, timeout=120)
        headers = {"Cookie": self._cookie, "Content-Type": MULTIPART_CONTENT}
        connection.request("POST", "/send/", body, headers)
        left = time.monotonic()
        status = connection.getresponse().status
        connection.close()
        if status != 302:
            raise RuntimeError(f"sending {title} was answered with {status}, not 302")
        return left


def heard(title: str) -> bool:
    from studio.clips.models import Listening

    return Listening.objects.filter(clip__title=title).exists()


def sent_until_heard(sender: Sender, recording: bytes) -> dict[str, float]:
    left = sender.send(recording, "alone")
    until(lambda: heard("alone"), PATIENCE_S, "it is heard")
    marks_s = time.monotonic() - left
    wait_for_pictures()
    return {"marks_s": marks_s, "all_copies_s": time.monotonic() - left}


def wait_for_pictures() -> None:
    from studio.clips.models import Stage

    def left() -> int:
        return sum(not stage.is_done for stage in Stage.objects.all())

    until(lambda: left() == 0, PATIENCE_S, "every copy is made")


def minutes_a_minute(senders: list[Sender], recording: bytes, many: int, name: str) -> float:
    """Minutes of recording heard in a minute, of so many that were sent one after the other."""
    titles = [f"{name} {n}" for n in range(many)]
    begun = time.monotonic()
    for n, title in enumerate(titles):
        senders[n % len(senders)].send(recording, title)
    until(lambda: all(heard(title) for title in titles), PATIENCE_S, "all are heard")
    return many * LENGTH_S / (time.monotonic() - begun)


def measure(many: int) -> dict[str, float]:
    from sample_media.make import build

    with tempfile.TemporaryDirectory(prefix="studio-throughput-") as name:
        folder = Path(name)
        recording = film(folder)
        with studio(folder) as (url, pupils):
            senders = [Sender(url, pupil) for pupil in pupils]
            senders[0].send(build("octaves-in-b-flat").read_bytes(), "first")  # warms the worker up
            until(lambda: heard("first"), PATIENCE_S, "the first is heard")
            wait_for_pictures()
            found = {"mb": len(recording) / 1e6, **sent_until_heard(senders[0], recording)}
            print(json.dumps(found), flush=True)
            found["heard_by_one"] = minutes_a_minute(senders, recording, many, "one")
            further = [sys.executable, "-m", "celery", "--quiet", "-A", "studio.celery", *FURTHER]
            with started(further, folder / "further.log", OMP_NUM_THREADS="1") as worker:
                found["heard_by_two"] = minutes_a_minute(senders, recording, many, "two")
                worker.terminate()
                with contextlib.suppress(psutil.TimeoutExpired):
                    worker.wait(60)
    return found


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--quick", action="store_true", help="two at once in the place of four")
    quick = arguments.parse_args().quick
    load = os.getloadavg()[0]
    found = measure(FEWER if quick else AT_ONCE)
    found |= {"load_before": load, "cores": os.cpu_count() or 0}
    reached = "reached" if found["marks_s"] <= MARKS_S else "NOT YET"
    print(f"a clip of {found['mb']:.0f} MB: marks after {found['marks_s']:.1f} s", end=" ")
    print(f"(≤ {MARKS_S:g} s: {reached}), every copy after {found['all_copies_s']:.0f} s")
    for who in ("one", "two"):
        print(f"heard in a minute by {who}: {found[f'heard_by_{who}']:.1f} minutes of recording")
    print(json.dumps({name: round(value, 2) for name, value in found.items()}))
    return 0


if __name__ == "__main__":
    sys.exit(main())

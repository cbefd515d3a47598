"""A canary and a secret: what no uploaded file may ever reach.

The canary listens on a free loopback port and writes down who calls. The secret is a sound file
whose samples spell a marker: whoever decodes it carries the marker, byte for byte, into a WAV of
16 bit and 44.1 kHz, the very kind that is extracted for listening.
"""

import contextlib
import http.server
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from tests.media import boxes

MARKER = b"OF NO ONE ELSE: "  # 16 bytes, so that it falls on whole samples
SECRET_RATE_HZ = 44_100
SECRET_S = 2.0


def _head(samples_at: int) -> bytes:
    track = boxes.pcm_track(boxes.HERE, samples_at, SECRET_S)
    return boxes.FTYP + boxes.movie(SECRET_S, track)


SAMPLES_AT = len(_head(0)) + 8  # where the secret's samples begin in its file


@dataclass
class Canary:
    """``url`` is where it listens; ``calls`` are the requests, or "connected" for a bare call."""

    url: str
    port: int
    calls: list[str] = field(default_factory=list)


def secret_sound(path: Path) -> Path:
    """Write the secret: two seconds of samples that spell :data:`MARKER` over and over.

    It is an MP4 with plain PCM samples, because a playlist's reader is choosy about segments.
    """
    count = round(SECRET_S * SECRET_RATE_HZ)
    samples = (MARKER * (2 * count // len(MARKER) + 1))[: 2 * count]
    path.write_bytes(_head(SAMPLES_AT) + boxes.box(b"mdat", samples))
    return path


@contextlib.contextmanager
def listening(answer: bytes) -> Iterator[Canary]:
    """Run a canary that gives ``answer`` to every GET."""

    class Handler(http.server.BaseHTTPRequestHandler):
        def setup(self) -> None:
            canary.calls.append("connected")
            super().setup()

        def do_GET(self) -> None:
            canary.calls.append(self.requestline)
            self.send_response(200)
            self.send_header("Content-Length", str(len(answer)))
            self.end_headers()
            with contextlib.suppress(OSError):
                self.wfile.write(answer)

        def log_message(self, *args: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    port = server.server_address[1]
    canary = Canary(f"http://127.0.0.1:{port}", port)
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield canary
    finally:
        server.shutdown()
        server.server_close()
        thread.join()

"""What a browser sends to a real web process, request by request."""

import io
import socket
import wave

import numpy as np

from studio.clips.models import Upload
from tests.cast import as_person
from tests.web_process import Web

TOKEN = "t" * 32


def headers(who, prefix: str = "") -> dict[str, str]:
    """What a browser with this person's session sends."""
    session = as_person(who).cookies["session"].value
    cookies = f"{prefix}session={session}; {prefix}csrf={TOKEN}"
    return {"Cookie": cookies, "X-CSRFToken": TOKEN}


def recording(size_bytes: int) -> bytes:
    """A WAV file of about this size: noise, so that no two places in it are alike."""
    made = io.BytesIO()
    with wave.open(made, "wb") as file:
        file.setparams((1, 2, 44_100, 0, "NONE", ""))
        file.writeframes(np.random.default_rng(1).bytes(size_bytes // 2 * 2))
    return made.getvalue()


def begun_patch(web: Web, who, upload: Upload, offset: int, length: int) -> socket.socket:
    """A connection that has announced a chunk and sent nothing of it yet."""
    said = headers(who) | {
        "Host": f"127.0.0.1:{web.port}",
        "Tus-Resumable": "1.0.0",
        "Upload-Offset": str(offset),
        "Content-Type": "application/offset+octet-stream",
        "Content-Length": str(length),
    }
    head = "".join(f"{name}: {value}\r\n" for name, value in said.items())
    connection = socket.create_connection(("127.0.0.1", web.port), timeout=30)
    connection.sendall(f"PATCH /uploads/{upload.pk}/ HTTP/1.1\r\n{head}\r\n".encode())
    return connection


def offset_of(upload: Upload) -> int:
    upload.refresh_from_db()
    return upload.offset_bytes

"""People who use a running studio over HTTP, as their browsers would without any script."""

import base64
import http.client
import secrets
from urllib.parse import urlsplit

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart

from studio.accounts.models import Person
from tests.cast import as_person

PIECE_BYTES = 40_000  # a clip of the storm has three to five
TIMEOUT_S = 60.0


class Visitor:
    """One person, logged in. Each request has a connection of its own."""

    def __init__(self, url: str, person: Person) -> None:
        self._address = urlsplit(url).netloc
        self._token = secrets.token_hex(16)
        session = as_person(person).cookies["session"].value
        self._headers = {"Cookie": f"session={session}; csrf={self._token}"}

    def get(self, path: str, **headers: str) -> tuple[int, bytes]:
        """The status and the body; redirects are not followed."""
        return self._ask("GET", path, None, headers)

    def post(self, path: str, **fields: object) -> int:
        """Send a form; the status of its answer."""
        body = encode_multipart(BOUNDARY, {**fields, "csrfmiddlewaretoken": self._token})
        return self._ask("POST", path, body, {"Content-Type": MULTIPART_CONTENT})[0]

    def send_clip(self, content: bytes, name: str, **fields: str) -> int:
        """Send a recording with the plain form; 302 when it was received."""
        return self.post("/send/", recording=SimpleUploadedFile(name, content), **fields)

    def send_pieces(self, content: bytes, key: str, title: str) -> int:
        """Send a recording in pieces, going on from what has arrived; 201 when it is a clip.

        Raises OSError or HTTPException where the connection breaks off.
        """
        said = {"key": key, "title": title, "filename": "take.mp4"}
        words = ",".join(f"{n} {base64.b64encode(v.encode()).decode()}" for n, v in said.items())
        length = str(len(content))
        begun = self._tus("POST", "/uploads/", {"Upload-Length": length, "Upload-Metadata": words})
        address = urlsplit(begun.headers.get("Location", "")).path
        if begun.status != 201:
            return begun.status
        at = int(begun.headers["Upload-Offset"])
        while at < len(content):
            piece = content[at : at + PIECE_BYTES]
            headers = {"Upload-Offset": str(at), "Content-Type": "application/offset+octet-stream"}
            answer = self._tus("PATCH", address, headers, piece)
            if answer.status != 204:
                return answer.status
            at = int(answer.headers["Upload-Offset"])
        return self.post(address.replace("/uploads/", "/send/") + "arrived/")

    def _tus(self, method: str, path: str, headers: dict, body: bytes = b""):
        connection = http.client.HTTPConnection(self._address, timeout=TIMEOUT_S)
        token = {"X-CSRFToken": self._token, "Tus-Resumable": "1.0.0"}
        try:
            connection.request(method, path, body, {**self._headers, **token, **headers})
            answer = connection.getresponse()
            answer.read()
            return answer
        finally:
            connection.close()

    def comment(self, clip_id, text: str, at_s: float = 1.0) -> int:
        """Comment on a clip; 302 when it was taken."""
        said = {"kind": "intonation", "text": text, "start_s": f"{at_s:.1f}", "form_key": text}
        return self.post(f"/clips/{clip_id}/comments/", **said)

    def _ask(self, method: str, path: str, body, headers: dict) -> tuple[int, bytes]:
        connection = http.client.HTTPConnection(self._address, timeout=TIMEOUT_S)
        try:
            connection.request(method, path, body, {**self._headers, **headers})
            answer = connection.getresponse()
            return answer.status, answer.read()
        finally:
            connection.close()

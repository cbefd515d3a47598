"""People who use a running studio over HTTP, as their browsers would without any script."""

import http.client
import secrets
from urllib.parse import urlsplit

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart

from studio.accounts.models import Person
from tests.cast import as_person

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

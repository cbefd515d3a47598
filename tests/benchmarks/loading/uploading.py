"""Pupils who send recordings, in pieces (tus 1.0), while pages are asked for.

Each sends as a home line does, half a megabyte twice a second, and none ends: what is measured is
receiving, not what workers make of a clip.
"""

import contextlib
import http.client
import secrets
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from urllib.parse import urlsplit

from django.conf import settings

from studio.accounts.models import Enrolment, Person
from tests.cast import as_person

from .connections import Server

PIECE_BYTES, EVERY_S = 500_000, 0.5
WHOLE_BYTES = 900_000_000  # half an hour at this pace; no measurement lasts as long
TIMEOUT_S = 60.0


@dataclass
class Sent:
    """What arrived of all of them, and each answer that was not as it should be."""

    pieces: int = 0
    wrong: list[int] = field(default_factory=list)

    @property
    def megabytes(self) -> float:
        return self.pieces * PIECE_BYTES / 1e6


def senders(many: int) -> list[Person]:
    """Pupils who may send for themselves: the grown-up ones with the newest places."""
    places = Enrolment.objects.filter(pupil__birth_year__lt=2000, ended_on=None)
    return [place.pupil for place in places.select_related("pupil").order_by("-pk")[:many]]


@contextlib.contextmanager
def uploads_beside(server: Server, people: Sequence[Person]) -> Iterator[Sent]:
    """They send as long as this lasts; then what they sent is taken back."""
    sent, ends = Sent(), threading.Event()
    each = [_Sender(server, person) for person in people]
    threads = [threading.Thread(target=one.send, args=(sent, ends)) for one in each]
    for one in threads:
        one.start()
    try:
        yield sent
    finally:
        ends.set()
        for one in threads:
            one.join(TIMEOUT_S)


class _Sender:
    """One pupil's browser, on a line of its own."""

    def __init__(self, server: Server, person: Person) -> None:
        if server.secure:
            self.line = http.client.HTTPSConnection(
                "localhost", server.port, timeout=TIMEOUT_S, context=server.context()
            )
        else:
            self.line = http.client.HTTPConnection("localhost", server.port, timeout=TIMEOUT_S)
        token = secrets.token_hex(16)
        cookies = {name: kept.value for name, kept in as_person(person).cookies.items()}
        cookies[settings.CSRF_COOKIE_NAME] = token
        scheme = "https" if server.secure else "http"
        self.headers = {
            "Cookie": "; ".join(f"{name}={value}" for name, value in cookies.items()),
            "Origin": f"{scheme}://localhost:{server.port}",
            "X-CSRFToken": token,
            "Tus-Resumable": "1.0.0",
        }

    def send(self, sent: Sent, ends: threading.Event) -> None:
        begun = self._ask("POST", "/uploads/", {"Upload-Length": str(WHOLE_BYTES)})
        if begun.status != 201:
            sent.wrong.append(begun.status)
            return
        address, at = urlsplit(begun.headers["Location"]).path, 0
        piece = secrets.token_bytes(PIECE_BYTES)
        while not ends.wait(EVERY_S):
            said = {"Upload-Offset": str(at), "Content-Type": "application/offset+octet-stream"}
            answer = self._ask("PATCH", address, said, piece)
            if answer.status != 204:
                sent.wrong.append(answer.status)
                break
            at += PIECE_BYTES
            sent.pieces += 1
        self._ask("DELETE", address, {})

    def _ask(self, method: str, path: str, headers: dict, body: bytes = b""):
        self.line.request(method, path, body, self.headers | headers)
        answer = self.line.getresponse()
        answer.read()
        return answer

"""A studio that sends mail, and a server that takes it."""

import contextlib
import socketserver
import threading

import pytest
from django.core import mail as outbox

from studio.accounts import letters
from studio.accounts.notifications import schedule


@pytest.fixture
def mail(settings, monkeypatch) -> list:
    """A studio that sends mail; what was sent."""
    settings.MAIL, settings.DEFAULT_FROM_EMAIL = {"EMAIL_HOST": "mail.example"}, "s@s.example"
    monkeypatch.setattr(letters, "_wake", lambda: None)
    # Whatever the time of day: who did not choose has no quiet hours here.
    monkeypatch.setattr(schedule, "QUIET_FROM", schedule.QUIET_UNTIL)
    return outbox.outbox


class Mailbox(socketserver.StreamRequestHandler):
    """As much of a mail server as it takes to accept a letter (RFC 5321, appendix D.1)."""

    def handle(self) -> None:
        self.wfile.write(b"220 mail.example\r\n")
        for line in self.rfile:
            verb = line[:4].upper()
            self.wfile.write(b"354 go on\r\n" if verb == b"DATA" else b"250 OK\r\n")
            if verb == b"DATA":
                words = iter(self.rfile.readline, b".\r\n")
                self.server.received.append(b"".join(words).decode())
                self.wfile.write(b"250 OK\r\n")
            if verb == b"QUIT":
                return


@contextlib.contextmanager
def mail_server():
    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Mailbox) as server:
        server.received = []
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server
        server.shutdown()

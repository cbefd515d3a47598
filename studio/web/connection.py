"""One visitor's line, as the loop and a thread see it, never both at once.

The loop reads what comes and sends what waits. A thread that answers has the methods of a socket:
sending never waits, what the line does not take stays in ``outbox``; reading waits for the rest of
a long body, for as long as the line is alive.
"""

import select
import socket
import time
from collections import deque
from dataclasses import dataclass
from typing import Any

from .framing import Head

# A line that brings nothing of a body for so long is dead. What came before is there.
STALL_S = 20.0
# So is one that is slower than any telephone: less than so much in so long a wait.
PACE_BYTES = 16_384
PACE_S = 60.0
SLICE_S = 0.5  # how soon a reading thread sees that the process must end
# What an answer may have waiting before its thread turns to something else.
MOST_WAITING = 1 << 17


@dataclass(slots=True)
class Answer:
    """An answer under way: gunicorn's request and response, and where its parts come from."""

    request: Any
    response: Any
    environ: dict
    body: Any
    parts: Any
    begun: Any


class Connection:
    """A line with what has come and not been read, and what is to go and was not taken."""

    def __init__(self, sock: socket.socket, client: Any, server: Any) -> None:
        sock.setblocking(False)
        self.sock, self.client, self.server = sock, client, server
        self.inbox = bytearray()
        self.outbox: deque[memoryview] = deque()
        self.head: Head | None = None
        self.answer: Answer | None = None
        self.parser: Any = None
        self.deadline = 0.0  # monotonic; the loop gives the line up then
        self.told_to_continue = False
        self.asks = False  # the loop waits for its next request
        self.receives = False  # a thread reads a long body
        self.ended = False  # nothing more will come, or is waited for
        self.after: object = None  # what the loop does once all has been sent
        self._waited_s, self._brought = 0.0, 0

    # -- for the loop ------------------------------------------------------------------------

    def begin_request(self) -> None:
        """Forget the request before this one."""
        self.head = self.answer = self.parser = None
        self.told_to_continue = self.receives = False
        self._waited_s, self._brought = 0.0, 0

    def flush(self) -> tuple[bool, int]:
        """Send what the line takes: whether that was all, and how many bytes went.

        Raises
        ------
        OSError
            The line is gone.
        """
        sent = 0
        while self.outbox:
            piece = self.outbox[0]
            try:
                took = self.sock.send(piece)
            except BlockingIOError:
                return False, sent
            sent += took
            if took < len(piece):
                self.outbox[0] = piece[took:]
            else:
                self.outbox.popleft()
        return True, sent

    @property
    def waiting_bytes(self) -> int:
        return sum(len(piece) for piece in self.outbox)

    # -- for a thread: what gunicorn asks of a socket ------------------------------------------

    def recv(self, size: int) -> bytes:
        """The next bytes of a long body; none when the line has ended, is dead, or must end."""
        while not self.ended:
            try:
                data = self.sock.recv(size)
            except BlockingIOError:
                self.ended = not (self.receives and self._more_comes())
                continue
            self._brought += len(data)
            self.ended = not data
            return data
        return b""

    def _more_comes(self) -> bool:
        """Wait until something is there; False when the line is dead."""
        poller, begun = select.poll(), time.monotonic()
        poller.register(self.sock, select.POLLIN)
        while not self.ended:
            came = bool(poller.poll(SLICE_S * 1000))
            waited_s = time.monotonic() - begun
            if came:
                return self._keeps_pace(waited_s)
            if waited_s >= STALL_S:
                return False
        return False

    def _keeps_pace(self, waited_s: float) -> bool:
        self._waited_s += waited_s
        if self._waited_s < PACE_S:
            return True
        keeps, self._waited_s, self._brought = self._brought >= PACE_BYTES, 0.0, 0
        return keeps

    def sendall(self, data: bytes) -> None:
        if not self.outbox:
            try:
                data = data[self.sock.send(data) :]
            except BlockingIOError:
                pass
        if data:
            self.outbox.append(memoryview(bytes(data)))

    def send(self, data: bytes) -> int:
        self.sendall(data)
        return len(data)

    def fileno(self) -> int:
        return self.sock.fileno()

    def getsockname(self) -> Any:
        return self.sock.getsockname()

    def gettimeout(self) -> float:
        return 0.0

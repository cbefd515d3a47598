"""gunicorn's worker of threads, with all waiting for lines done in one loop.

A thread is a dear thing: the program has a few for its pages. gunicorn's own worker gives one to
every line that may say something, and to every body and every reader for as long as that takes;
two dozen of them from outside, slow on purpose, and no page is answered. Here

* heads, and bodies up to :data:`.framing.WHOLE_BODY`, are waited for in the loop;
* longer bodies have threads of their own (``WEB_UPLOADS``), once their first part is there; where
  all are taken, the next is told to come again;
* an answer that its reader does not take waits in the loop, and no thread with it: a player that
  stands still costs an open file;
* all of it has deadlines, and when there are too many lines the one that waits longest goes.
"""

import errno
import resource
import selectors
import socket
import time
from collections.abc import Callable
from concurrent import futures
from contextlib import nullcontext, suppress
from datetime import datetime
from functools import partial

from gunicorn import http
from gunicorn.http import wsgi
from gunicorn.workers.gthread import ThreadWorker

from studio import settings

from . import connection, framing
from .connection import Answer, Connection
from .sharing import SHARES, Share
from .turns import Turns

HEAD_S = 10.0  # from the first byte (of a new line: from its opening) to the end of the head
BODY_S = 30.0  # from there to the end of a short body, or a long one's first part
TAKEN_S = 120.0  # a reader that takes nothing for so long is gone
LINGER_S = 5.0  # for a body that nobody read, so that the answer before it arrives
STOP_LINGER_S = 2.0
END_S = 5.0  # so long before gunicorn kills what has not stopped, no line is waited for any more
RESERVE = 50  # lines that can always come in, others going for them
READ_BYTES = 1 << 16
GONE = (errno.EPIPE, errno.ECONNRESET, errno.ENOTCONN)
PAUSED = object()

PLAIN = "text/plain; charset=utf-8"
BUSY = "Many recordings are being sent just now. Nothing of yours is lost; try again in a minute.\n"
LONG_HEAD = "What your browser sent is too long. Remove this site's cookies, and try again.\n"


class LoopWorker(ThreadWorker):
    """See the module."""

    def init_process(self) -> None:
        self.lines: dict[Connection, None] = {}  # the loop's own, those that wait longest first
        self.in_threads: set[Connection] = set()
        self.uploads = futures.ThreadPoolExecutor(settings.WEB_UPLOADS, "upload")
        self.receiving = 0
        self.turns = Turns()
        self.share = Share(SHARES, self.age)
        self.end_at = float("inf")  # monotonic; known once the process is to stop
        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, min(hard, 8192)), hard))
        super().init_process()

    # -- lines come in -----------------------------------------------------------------------

    def accept(self, listener: socket.socket) -> None:
        if not self.share.takes(self.nr_conns):
            return
        try:
            sock, client = listener.accept()
        except OSError as error:
            if error.errno in (errno.EMFILE, errno.ENFILE):
                self._give_up_one()
            elif error.errno not in (errno.EAGAIN, errno.EWOULDBLOCK, errno.ECONNABORTED):
                raise
            return
        self.nr_conns += 1
        self.share.say(self.nr_conns)
        if self.nr_conns > self.worker_connections - RESERVE:
            self._give_up_one()
        self._await_request(Connection(sock, client, listener.getsockname()), HEAD_S)

    def _give_up_one(self) -> None:
        if oldest := next(iter(self.lines), None):
            self._drop(oldest)

    def _watch(self, line: Connection, events: int, then: Callable, seconds: float) -> None:
        self.lines[line] = None
        line.deadline = time.monotonic() + seconds
        self.poller.register(line.sock, events, partial(self._heard, line, then))

    def _unwatch(self, line: Connection) -> None:
        line.asks = False
        del self.lines[line]
        self.poller.unregister(line.sock)

    def _heard(self, line: Connection, then: Callable, _sock: object) -> None:
        """Something happened on a line; it may have been given up since the kernel said so."""
        if line not in self.lines:
            return
        try:
            then(line)
        except OSError:
            self._drop(line)

    def _drop(self, line: Connection) -> None:
        if line in self.lines:
            self._unwatch(line)
        if line.answer is not None:
            self.tpool.submit(self._end_answer, line)
        self.nr_conns -= 1
        self.share.say(self.nr_conns)
        line.sock.close()

    # -- requests are waited for ---------------------------------------------------------------

    def _await_request(self, line: Connection, seconds: float) -> None:
        line.begin_request()
        line.asks = True
        self._watch(line, selectors.EVENT_READ, self._read, seconds)
        if line.inbox:
            self._consider(line)

    def _read(self, line: Connection) -> None:
        try:
            data = line.sock.recv(READ_BYTES)
        except BlockingIOError:
            return
        if not line.inbox:
            data = data.lstrip(b"\r\n")
            line.deadline = time.monotonic() + HEAD_S
        line.inbox += data
        if data:
            self._consider(line)
        elif line.head is not None and line.head.is_long:
            self._cut_short(line)
        else:
            self._drop(line)

    def _consider(self, line: Connection) -> None:
        """Give the request to a thread if enough of it is there."""
        if line.head is None:
            line.head = framing.head_of(line.inbox)
            line.deadline = max(line.deadline, time.monotonic() + BODY_S * (line.head is not None))
        head = line.head
        if head is None:
            if len(line.inbox) > framing.LONGEST_HEAD:
                self._turn_away(line, "431 Request Header Fields Too Large", LONG_HEAD)
        elif len(line.inbox) >= head.enough:
            self._take(line)
        elif head.expects_continue and not line.told_to_continue:
            line.told_to_continue = True
            line.sock.send(b"HTTP/1.1 100 Continue\r\n\r\n")

    def _cut_short(self, line: Connection) -> None:
        """The line ended within a long body: what came of it may be worth keeping."""
        line.ended = True
        self._take(line)

    def _take(self, line: Connection) -> None:
        line.receives = line.head is not None and line.head.is_long
        if line.receives and self.receiving >= settings.WEB_UPLOADS:
            self._turn_away(line, "503 Service Unavailable", BUSY, "Retry-After: 30\r\n")
            return
        self._unwatch(line)
        self.receiving += line.receives
        self._give(line, self.uploads if line.receives else self.tpool)

    def _give(self, line: Connection, pool: futures.Executor) -> None:
        self.in_threads.add(line)
        future = pool.submit(self.handle, line)
        future.add_done_callback(
            lambda done: self.method_queue.defer(self.finish_request, line, done)
        )

    def _turn_away(self, line: Connection, status: str, sentence: str, more: str = "") -> None:
        self._unwatch(line)
        body = sentence.encode()
        head = f"HTTP/1.1 {status}\r\nContent-Type: {PLAIN}\r\nContent-Length: {len(body)}\r\n"
        line.outbox.append(memoryview(f"{head}{more}Connection: close\r\n\r\n".encode() + body))
        self._send(line, False)

    # -- threads answer ----------------------------------------------------------------------

    def handle(self, line: Connection) -> object:
        """In a thread. Whether the line may be used again, or :data:`PAUSED`."""
        request = None
        try:
            if line.answer is None:
                line.parser = http.get_parser(self.cfg, line, line.client)
                line.parser.unreader.unread(bytes(line.inbox))
                line.inbox.clear()
                request = next(line.parser)
                line.answer = self._begin_answer(request, line)
            return self._go_on(line)
        except (http.errors.NoMoreData, StopIteration):
            pass
        except OSError as error:
            if error.errno not in GONE:
                self.log.exception("A line failed while a request was answered.")
        except Exception as error:
            if line.answer is not None and line.answer.response.headers_sent:
                self.log.exception("Error handling request")
            else:
                self.handle_error(request, line, line.client, error)
        self._end_answer(line)
        return False

    def _begin_answer(self, request, line: Connection) -> Answer:
        begun = datetime.now()
        response, environ = wsgi.create(request, line, line.client, line.server, self.cfg)
        environ["wsgi.multithread"] = True
        with nullcontext() if line.receives else self.turns.taken():
            body = self.wsgi(environ, response.start_response)
        if not self.alive or (line.receives and not _all_read(request)):
            response.force_close()
        return Answer(request, response, environ, body, iter(body), begun)

    def _go_on(self, line: Connection) -> object:
        answer = line.answer
        for part in answer.parts:
            answer.response.write(part)
            if line.waiting_bytes > connection.MOST_WAITING:
                return PAUSED
        answer.response.close()
        self._end_answer(line)
        if answer.response.should_close() or not line.parser.finish_body():
            return False
        line.inbox += line.parser.unreader.take_buffered()
        return True

    def _end_answer(self, line: Connection) -> None:
        """Let go of what the answer came from, however it ended."""
        answer, line.answer = line.answer, None
        if answer is None:
            return
        try:
            self.log.access(
                answer.response, answer.request, answer.environ, datetime.now() - answer.begun
            )
            if hasattr(answer.body, "close"):
                answer.body.close()
        except Exception:
            self.log.exception("An answer could not be closed.")

    # -- answers are sent ----------------------------------------------------------------------

    def finish_request(self, line: Connection, done: futures.Future) -> None:
        """Back in the loop: what the thread left to send, and what comes after it."""
        self.in_threads.discard(line)
        self.receiving -= line.receives
        line.receives = False
        result = False if done.cancelled() or done.exception() else done.result()
        try:
            self._send(line, result)
        except OSError:
            self._drop(line)

    def _send(self, line: Connection, after: object) -> None:
        line.after = after
        whole, _ = line.flush()
        if whole:
            self._sent(line)
        else:
            self._watch(line, selectors.EVENT_WRITE, self._send_more, TAKEN_S)

    def _send_more(self, line: Connection) -> None:
        whole, sent = line.flush()
        if whole:
            self._unwatch(line)
            self._sent(line)
        elif sent:
            line.deadline = time.monotonic() + TAKEN_S

    def _sent(self, line: Connection) -> None:
        if line.after is PAUSED:
            self._give(line, self.tpool)
        elif line.after and not line.ended:
            self._await_request(line, self.cfg.keepalive if self.alive else STOP_LINGER_S)
        else:
            with suppress(OSError):
                line.sock.shutdown(socket.SHUT_WR)
            self._watch(line, selectors.EVENT_READ, self._discard, LINGER_S)

    def _discard(self, line: Connection) -> None:
        """RFC 9112, section 9.6: closing at once would take the answer from who still sends."""
        with suppress(BlockingIOError):
            if not line.sock.recv(READ_BYTES):
                self._drop(line)

    # -- deadlines, and the end ----------------------------------------------------------------

    def murder_pending(self) -> None:
        """gunicorn calls this about once a second."""
        now = time.monotonic()
        if now >= self.end_at:
            self._end_waiting(now)
        for line in [line for line in self.lines if line.deadline <= now]:
            if line.asks and line.head is not None and line.head.is_long:
                self._cut_short(line)
            else:
                self._drop(line)

    def _end_waiting(self, now: float) -> None:
        """Who stands still is not waited for; what came of a body is kept, and said to be."""
        for line in self.lines:
            line.deadline = min(line.deadline, now)
        for line in self.in_threads:  # a thread that reads a body sees it
            line.ended = line.ended or line.receives

    def _cap_keepalive(self, deadline: float) -> None:
        """The process is to stop: lines that have asked nothing do not hold it up."""
        self.share.end()
        self.end_at = time.monotonic() + max(0.0, self.cfg.graceful_timeout - END_S)
        for line in self.lines:
            if line.asks and line.head is None:
                line.deadline = min(line.deadline, deadline)

    def murder_keepalived(self, force: bool = False) -> None:
        if force:
            for line in list(self.lines):
                self._drop(line)
            for line in self.in_threads:  # a thread that reads a body sees it
                line.ended = True
            self.uploads.shutdown(wait=False)


def _all_read(request) -> bool:
    """Whether a body of known length was read to its end."""
    return getattr(request.body.reader, "length", None) == 0

"""Lines that are slow on purpose, many at once, and how long a page takes meanwhile."""

import contextlib
import http.client
import re
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator

PAGE = "/log-in/"
TOKEN = "t" * 32
PAGES = 12  # asked for while the lines are open
GAP_S = 0.25

Open = Callable[[], socket.socket]


def plain(port: int) -> Open:
    return lambda: socket.create_connection(("127.0.0.1", port), timeout=10)


def encrypted(port: int) -> Open:
    context = ssl._create_unverified_context()
    return lambda: context.wrap_socket(plain(port)(), server_hostname="localhost")


def head(method: str, path: str, session: str = "", **fields: object) -> bytes:
    """A request's head as a page of the studio would send it; names with ``_`` for ``-``."""
    cookies = f"__Host-csrf={TOKEN}" + (f"; __Host-session={session}" if session else "")
    lines = [f"{method} {path} HTTP/1.1", "Host: localhost", "Origin: https://localhost"]
    lines += ["X-Forwarded-Proto: https", f"Cookie: {cookies}", f"X-CSRFToken: {TOKEN}"]
    lines += [f"{name.replace('_', '-')}: {value}" for name, value in fields.items()]
    return ("\r\n".join(lines) + "\r\n\r\n").encode()


@contextlib.contextmanager
def lines(count: int, opened: Open, first: bytes, drop: bytes, every_s: float) -> Iterator[None]:
    """So many lines that say ``first`` and then ``drop`` every so often, until the end.

    One that the server closes is opened again at once, as an attacker's would be.
    """
    done = threading.Event()

    def begin() -> socket.socket | None:
        with contextlib.suppress(OSError):
            line = opened()
            line.sendall(first)
            return line
        return None

    held = [begin() for _ in range(count)]

    def drip() -> None:
        while not done.wait(every_s):
            for number, line in enumerate(held):
                try:
                    if line is None:
                        raise OSError
                    line.sendall(drop)
                except OSError:
                    held[number] = begin()

    dripping = threading.Thread(target=drip, daemon=True)
    dripping.start()
    try:
        yield
    finally:
        done.set()
        dripping.join(timeout=30)
        for line in filter(None, held):
            line.close()


def slowest_page(opened: Open, pages: int = PAGES) -> float:
    """The longest that one of several pages took, in seconds, each over a line of its own."""
    took = []
    for _ in range(pages):
        begun = time.monotonic()
        status = fetched(opened, PAGE)
        assert status == 200, status
        took.append(time.monotonic() - begun)
        time.sleep(GAP_S)
    return max(took)


def fetched(opened: Open, path: str, **headers: str) -> int:
    browser = http.client.HTTPConnection("localhost", timeout=30)
    browser.sock = opened()
    said = {"X-Forwarded-Proto": "https", **headers}
    try:
        browser.request("GET", path, headers=said)
        answer = browser.getresponse()
        answer.read()
        return answer.status
    finally:
        browser.close()


def pushed(line: socket.socket, first: bytes, size: int) -> tuple[int, bytes]:
    """Send a body as fast as it goes, until an answer comes: how much went, and the answer."""
    sent, block = 0, b"x" * (1 << 16)
    with line:
        line.sendall(first)
        line.settimeout(0.0)
        end = time.monotonic() + 60
        while time.monotonic() < end:
            with contextlib.suppress(BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
                if answer := line.recv(4096):
                    return sent, answer
            try:
                sent += line.send(block) if sent < size else 0
            except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
                time.sleep(0.001)
    raise AssertionError(f"no answer after {sent} bytes")


def taken(line: socket.socket) -> bytes:
    """Everything that an answer with a known length has."""
    got = b""
    while b"\r\n\r\n" not in got:
        got += line.recv(4096)
    length = int(re.search(rb"Content-Length: (\d+)", got).group(1))
    whole = got.index(b"\r\n\r\n") + 4 + length
    parts = [got]
    while whole > sum(map(len, parts)):
        parts.append(line.recv(1 << 16))
        assert parts[-1], "the line ended too soon"
    return b"".join(parts)

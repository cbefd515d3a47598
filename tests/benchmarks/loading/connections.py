"""Many connections that ask a web server for pages, each as soon as its last answer is there.

Answers are read as a browser reads them, compressed and over kept connections, but not understood:
this program is to take as little of the machine as it can.
"""

import asyncio
import ssl
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import count

READ_AT_ONCE = 1 << 18
TOO_LONG_S = 120.0


@dataclass
class Answers:
    """What came of a burst of requests: seconds each, how many bytes, what was not 2xx."""

    seconds: list[float] = field(default_factory=list)
    sent_bytes: int = 0
    wrong: list[int] = field(default_factory=list)
    lasted_s: float = 0.0

    def percentile_ms(self, share: float) -> float:
        """The time within which this share of the answers came, in milliseconds."""
        ranked = sorted(self.seconds)
        return 1000 * ranked[min(len(ranked) - 1, int(share * len(ranked)))] if ranked else 0.0

    @property
    def per_second(self) -> float:
        return len(self.seconds) / self.lasted_s if self.lasted_s else 0.0


@dataclass(frozen=True)
class Server:
    """Where the studio answers; ``secure`` through a web server with a certificate of its own."""

    port: int
    secure: bool = False

    def context(self) -> ssl.SSLContext | None:
        if not self.secure:
            return None
        context = ssl.create_default_context()
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        return context

    def request(self, path: str, cookies: dict[str, str], headers: Sequence = ()) -> bytes:
        kept = "; ".join(f"{name}={value}" for name, value in cookies.items())
        lines = [f"GET {path} HTTP/1.1", f"Host: localhost:{self.port}", f"Cookie: {kept}"]
        lines += ["Accept-Encoding: gzip", *(f"{name}: {value}" for name, value in headers)]
        return ("\r\n".join(lines) + "\r\n\r\n").encode()


def ask(server: Server, requests: Sequence[bytes], connections: int, at_most_s: float) -> Answers:
    """Ask for the same things in turn over so many connections for so long."""
    return asyncio.run(_ask(server, requests, connections, at_most_s))


async def _ask(server: Server, requests, connections: int, at_most_s: float) -> Answers:
    answers, turn, begun = Answers(), count(), time.monotonic()
    end = begun + at_most_s
    async with asyncio.timeout(at_most_s + TOO_LONG_S):
        await asyncio.gather(
            *(_one(server, requests, turn, end, answers) for _ in range(connections))
        )
    answers.lasted_s = time.monotonic() - begun
    return answers


async def _one(server: Server, requests, turn, end: float, answers: Answers) -> None:
    """One browser: ask, read to the end, ask again."""
    line = None
    while (now := time.monotonic()) < end:
        request = requests[next(turn) % len(requests)]
        try:
            line = line or await asyncio.open_connection(
                "127.0.0.1",
                server.port,
                ssl=server.context(),
                server_hostname="localhost" if server.secure else None,
                limit=READ_AT_ONCE,
            )
            line[1].write(request)
            status, size = await _read(line[0])
        except (ConnectionError, asyncio.IncompleteReadError):
            line = None  # a kept connection may be closed just then; a browser asks again too
            continue
        answers.seconds.append(time.monotonic() - now)
        answers.sent_bytes += size
        if not 200 <= status < 300:
            answers.wrong.append(status)
    if line:
        line[1].close()


async def _read(reader: asyncio.StreamReader) -> tuple[int, int]:
    """The status of one answer, and how many bytes its body has."""
    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
    status, fields = int(head[9:12]), head.lower()
    if "\r\ntransfer-encoding: chunked" in fields:
        return status, await _chunks(reader)
    size = int(fields.partition("\r\ncontent-length:")[2].partition("\r\n")[0] or 0)
    left = size
    while left:
        got = await reader.read(min(left, READ_AT_ONCE))
        if not got:
            raise asyncio.IncompleteReadError(b"", left)
        left -= len(got)
    return status, size


async def _chunks(reader: asyncio.StreamReader) -> int:
    total = 0
    while size := int(await reader.readuntil(b"\r\n"), 16):
        await reader.readexactly(size + 2)
        total += size
    await reader.readuntil(b"\r\n")
    return total

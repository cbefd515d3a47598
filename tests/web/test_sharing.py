"""Eight lines that come at once are shared out among the processes; one that is alone takes all."""

import contextlib
import http.client
import os
import signal
import time

import psutil
import pytest

from studio.web.sharing import MOMENT_S, Share, Shares
from tests.deploy.processes import until
from tests.live import LiveStudio, live_web

LINES = 8


class Clock:
    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now

    def wait(self, seconds: float) -> None:
        self.now += seconds


def share_of(shares: Shares, process: int, clock: Clock) -> Share:
    return Share(shares, process, clock, clock.wait)


def test_who_is_alone_takes_every_line():
    clock = Clock()
    alone = share_of(Shares(), 1, clock)
    assert all(alone.takes(lines) for lines in range(100))


def test_who_has_more_leaves_a_line_for_a_moment_and_then_takes_it():
    shares, clock = Shares(), Clock()
    one, other = share_of(shares, 1, clock), share_of(shares, 2, clock)
    one.say(1)
    assert other.takes(0)
    begun = clock.now
    while not one.takes(1):
        assert clock.now - begun <= 2 * MOMENT_S
    assert clock.now - begun >= MOMENT_S
    assert not one.takes(1), "the next line is left for a moment again"
    clock.wait(10.0)
    assert not one.takes(1), "and one that comes much later"


def test_one_that_ended_is_not_waited_for():
    shares, clock = Shares(), Clock()
    one, other = share_of(shares, 1, clock), share_of(shares, 2, clock)
    one.say(5)
    assert not one.takes(5)
    other.end()
    assert one.takes(5)


@pytest.fixture
def web(db, tmp_path):
    with live_web(tmp_path, WEB_PROCESSES="2") as studio:
        yield studio


def held(studio: LiveStudio) -> list[int]:
    """How many lines each process holds."""
    port = int(studio.url.rpartition(":")[2])
    return sorted(
        sum(one.laddr.port == port and one.status == "ESTABLISHED" for one in p.net_connections())
        for p in studio.supervisor.children()
    )


@contextlib.contextmanager
def lines_to(studio: LiveStudio):
    opened = [http.client.HTTPConnection(studio.url.removeprefix("http://")) for _ in range(LINES)]
    for line in opened:
        line.connect()
    for line in opened:
        line.request("GET", "/health")
    for line in opened:
        answer = line.getresponse()
        answer.read()
        assert answer.status == 200
    try:
        yield
    finally:
        for line in opened:
            line.close()


@pytest.mark.django_db(transaction=True)
def test_eight_lines_at_once_are_shared_by_two_processes(web):
    until(lambda: held(web) == [0, 0], 20, "the first line is closed")
    for _ in range(2):
        with lines_to(web):
            few, many = held(web)
            assert few + many == LINES
            assert few >= LINES // 4, "a busy machine may leave one late"
        until(lambda: held(web) == [0, 0], 20, "all are closed")
    killed = web.supervisor.children()[0]
    os.kill(killed.pid, signal.SIGKILL)
    until(lambda: len(_others(web, killed)) == 2, 20, "another process")
    begun = time.monotonic()
    with lines_to(web):
        assert time.monotonic() - begun < 5, "nobody waits for the one that was killed"


def _others(studio: LiveStudio, killed: psutil.Process) -> list[psutil.Process]:
    return [one for one in studio.supervisor.children() if one.pid != killed.pid]

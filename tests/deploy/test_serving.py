"""The real studio under its supervisor: it answers, mends itself, and goes without a trace."""

import contextlib
import re
import signal
import sys
import urllib.request
from pathlib import Path

import psutil
import pytest

from tests.deploy.processes import command_of, free_port, running, started, until
from tests.live import lend_static_files

pytestmark = pytest.mark.worker
START_S = 90  # the first listening compiles for some seconds, more on a busy machine


@contextlib.contextmanager
def served(folder: Path):
    """A served studio with an empty data folder: its supervisor, address and log."""
    log, port = folder / "log", free_port()
    lend_static_files(folder / "data")
    settings = {"STUDIO_DATA": str(folder / "data"), "PORT": str(port), "BROKER_URL": ""}
    with started([sys.executable, "-m", "studio", "serve"], log, **settings) as top:
        address = f"http://127.0.0.1:{port}"
        until(lambda: "The studio is ready" in log.read_text() or not running([top]), START_S, "up")
        assert f"The studio is ready: {address}/" in log.read_text()
        yield top, address, log


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory):
    """One for the tests that leave it running."""
    with served(tmp_path_factory.mktemp("studio")) as running_studio:
        yield running_studio


def pool_of(top: psutil.Process, queue: str) -> list[psutil.Process]:
    """The worker of a queue and its pool process, once both run.

    A worker that starts has other children for a moment: it tries the sandbox.
    """
    for worker in running(top.children()):
        if f"{queue}@" in command_of(worker):
            pool = [p for p in running(worker.children()) if f"{queue}@" in command_of(p)]
            return [worker, *pool] if pool else []
    return []


def get(url: str):
    return urllib.request.urlopen(url, timeout=20)


def test_pages_and_static_files_are_served_with_their_headers(studio):
    _, address, _ = studio
    with get(f"{address}/log-in/") as page:
        headers, body = page.headers, page.read().decode()
    policy = headers["Content-Security-Policy"]
    for directive in ("object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"):
        assert directive in policy
    assert "unsafe-inline" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert "geolocation=()" in headers["Permissions-Policy"]
    files = re.findall(r'"(/static/[^"]+)"', body)
    assert files
    for file in files:
        with get(address + file) as static:
            assert "immutable" in static.headers["Cache-Control"], file


def test_killed_worker_is_replaced_and_takes_its_pool_along(studio):
    top, _, log = studio
    killed = until(lambda: pool_of(top, "listening"), START_S, "a pool")
    killed[0].send_signal(signal.SIGKILL)
    until(lambda: not running(killed), 10, "its pool process went with it")
    new = until(lambda: pool_of(top, "listening"), START_S, "a new worker")
    assert not set(new) & set(killed)
    assert "listening ended (killed by SIGKILL)" in log.read_text()
    # Each time it listened once before it took a clip, and says so through the studio's own log.
    until(lambda: log.read_text().count("ready to listen after") == 2, START_S, "warm again")


def test_killed_pool_process_is_replaced(studio):
    top, _, _ = studio
    worker, pool = until(lambda: pool_of(top, "pictures"), START_S, "a pool")
    pool.send_signal(signal.SIGKILL)
    until(lambda: pool not in pool_of(top, "pictures")[1:2] != [], START_S, "a new pool process")
    assert worker.is_running()


def test_second_studio_on_the_same_data_is_refused(studio, tmp_path):
    data = studio[2].parent / "data"
    log = tmp_path / "second"
    settings = {"STUDIO_DATA": str(data), "PORT": str(free_port()), "BROKER_URL": ""}
    with started([sys.executable, "-m", "studio", "serve"], log, **settings) as second:
        second.wait(timeout=30)
    assert "A studio is already being served from" in log.read_text()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL])
def test_whichever_way_it_ends_no_process_is_left(tmp_path, number):
    with served(tmp_path) as (top, address, log):
        until(lambda: pool_of(top, "listening") and pool_of(top, "pictures"), START_S, "both pools")
        everything = top.children(recursive=True)
        assert len(everything) >= 8  # web and 2, two workers and 1 each, periodic
        top.send_signal(number)
        top.wait(timeout=30)
        until(lambda: not running(everything), 10, f"nothing left; {log.read_text()[-2000:]}")
        with pytest.raises(OSError, match="refused"):
            get(f"{address}/log-in/")

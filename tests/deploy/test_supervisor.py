"""The supervisor restarts what ends, and whichever way it ends itself, nothing is left."""

import signal
import time
from pathlib import Path

import psutil
import pytest

from tests.deploy.processes import command_of, python, running, started, until

# A supervisor with two children: one with a child of its own in another process group, which
# does not notice that its parent dies, and one that does not heed TERM.
FAMILY = """
import sys
from studio.supervisor import Child, Supervisor

parent = (sys.executable, "-c", '''
import subprocess, sys, time
subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"], start_new_session=True)
time.sleep(600)
''')
deaf = (sys.executable, "-c", '''
import signal, time
signal.signal(signal.SIGTERM, signal.SIG_IGN)
print("deaf to TERM", flush=True)
time.sleep(600)
''')
children = [Child("parent", parent), Child("deaf", deaf)]
supervisor = Supervisor(children, say=lambda s: print(s, flush=True), stop_s=1.0)
sys.exit(supervisor.run())
"""


@pytest.fixture
def family(tmp_path: Path):
    """The supervisor and its three descendants, all of them running."""
    log = tmp_path / "log"
    with started(python(FAMILY), log) as top:
        until(lambda: len(top.children(recursive=True)) == 3, 20, "three descendants")
        until(lambda: "deaf to TERM" in log.read_text(), 20, "a child deaf to TERM")
        yield top, log


def named(top: psutil.Process, text: str) -> psutil.Process:
    """The direct child whose command holds this text."""
    return next(p for p in top.children() if text in command_of(p))


def test_killed_child_is_started_again(family):
    top, log = family
    killed = named(top, "subprocess")
    killed.send_signal(signal.SIGKILL)
    until(lambda: "parent ended (killed by SIGKILL)" in log.read_text(), 10, "its end is told")
    until(lambda: len(running(top.children())) == 2, 10, "a new child")
    assert killed not in top.children()


def test_what_a_killed_child_leaves_is_killed(family):
    top, _ = family
    parent = named(top, "subprocess")
    left = parent.children()
    assert len(left) == 1
    parent.send_signal(signal.SIGKILL)
    until(lambda: not running(left), 10, "the orphan is gone")


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_stop_leaves_nothing_even_of_a_deaf_child(family, number):
    top, log = family
    descendants = top.children(recursive=True)
    top.send_signal(number)
    assert top.wait(timeout=10) == 0
    assert not running(descendants)
    assert "Still running, and ended now: deaf." in log.read_text()


def test_second_signal_does_not_wait(tmp_path):
    with started(python(FAMILY.replace("stop_s=1.0", "stop_s=60.0")), tmp_path / "log") as top:
        until(lambda: "deaf to TERM" in (tmp_path / "log").read_text(), 20, "a deaf child")
        top.send_signal(signal.SIGINT)
        time.sleep(0.5)
        top.send_signal(signal.SIGINT)  # so soon after the first it is the same request
        time.sleep(1.5)
        assert top.is_running()
        top.send_signal(signal.SIGINT)
        assert top.wait(timeout=10) == 0


def test_children_die_with_a_killed_supervisor(family):
    top, _ = family
    children = top.children()
    grandchildren = named(top, "subprocess").children()
    top.send_signal(signal.SIGKILL)
    until(lambda: not running(children), 10, "no child outlives its supervisor")
    for process in grandchildren:  # they did not ask to die with their parent; see test_serving
        process.kill()


def test_child_that_keeps_ending_waits_longer_each_time(tmp_path):
    log = tmp_path / "log"
    code = (
        "from studio.supervisor import *; import sys;"
        "Supervisor([Child('short', (sys.executable, '-c', 'raise SystemExit(3)'))],"
        "say=lambda s: print(s, flush=True)).run()"
    )
    with started(python(code), log) as top:
        until(lambda: "again in 2 s" in log.read_text(), 20, "three starts")
        top.terminate()
        top.wait(timeout=10)
    waits = [line.split("again in ")[1] for line in log.read_text().splitlines() if "again" in line]
    assert waits[:3] == ["0.5 s.", "1 s.", "2 s."]
    assert "exit code 3" in log.read_text()


def test_announces_once_when_ready(tmp_path):
    log, sign = tmp_path / "log", tmp_path / "sign"
    code = (
        "from studio.supervisor import *; from pathlib import Path;"
        "Supervisor([Child('sleeper', ('sleep', '600'))], say=print,"
        f"ready=Path({str(sign)!r}).exists, announce=lambda: print('ready', flush=True)).run()"
    )
    with started(python(code), log) as top:
        until(top.children, 20, "the child runs")
        time.sleep(0.6)
        assert log.read_text() == ""
        sign.touch()
        until(lambda: log.read_text(), 10, "it is announced")
        time.sleep(0.6)
        top.terminate()
        assert top.wait(timeout=10) == 0
    assert log.read_text() == "ready\nStopping.\n"

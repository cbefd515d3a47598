"""What TERM does to a process, depending on where in its work it is."""

import os
import signal
import subprocess
import sys

import pytest

from studio.jobs import shutdown
from tests.deploy.processes import ROOT


@pytest.fixture(autouse=True)
def no_last_word(monkeypatch):
    """This process goes on living after a piece of work in which it was told to end."""
    monkeypatch.setattr(shutdown.threading.Timer, "start", lambda timer: None)
    yield
    monkeypatch.setattr(shutdown, "_requested", False)


def told_to_end() -> None:
    os.kill(os.getpid(), signal.SIGTERM)


def work_that_is_cut_off(went: list[str]) -> None:
    with shutdown.interruptible():
        try:
            told_to_end()
            went.append("on")
        finally:
            told_to_end()  # a second time: cleaning up is not cut off
            went.append("cleaned up")


def test_work_that_may_be_cut_off_is_left_at_once_and_cleans_up():
    went = []
    with shutdown.at_work():
        with pytest.raises(shutdown.Stopped):
            work_that_is_cut_off(went)
        assert shutdown.requested()
    assert went == ["cleaned up"]


def test_results_that_are_being_published_are_finished_first():
    with shutdown.at_work(), shutdown.interruptible():
        shutdown.no_longer()
        told_to_end()
        assert shutdown.requested()


def test_no_work_is_begun_after_the_word_to_end():
    with shutdown.at_work():
        told_to_end()
        with pytest.raises(shutdown.Stopped), shutdown.interruptible():
            pytest.fail("the body must not run")


def work_with_a_picture_between(went: list[str]) -> None:
    with shutdown.interruptible():
        with shutdown.interruptible():
            shutdown.no_longer()
        went.append("a picture")
        told_to_end()
        went.append("on")


def test_work_in_the_middle_of_other_work_leaves_that_as_it_was():
    went = []
    with shutdown.at_work(), pytest.raises(shutdown.Stopped):
        work_with_a_picture_between(went)
    assert went == ["a picture"]


def test_where_the_inner_work_was_told_to_end_the_outer_asks():
    with shutdown.at_work(), shutdown.interruptible():
        with shutdown.interruptible():
            shutdown.no_longer()
            told_to_end()
        told_to_end()  # publishing or cleaning up of the inner one is not cut off
        assert shutdown.requested()


def test_between_two_pieces_of_work_nothing_is_changed():
    before = signal.getsignal(signal.SIGTERM)
    with shutdown.at_work():
        assert signal.getsignal(signal.SIGTERM) != before
    assert signal.getsignal(signal.SIGTERM) == before


def test_an_ordinary_handler_of_errors_does_not_hold_it_up():
    assert not issubclass(shutdown.Stopped, Exception)


def test_the_processes_of_a_pool_are_told():
    worker = """
import os, subprocess, sys, time
from studio.jobs import shutdown
child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
shutdown.tell_pool_later(os.getpid(), after_s=0.1)
print(child.wait(timeout=30))
"""
    done = subprocess.run(
        [sys.executable, "-c", worker], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert int(done.stdout) == -signal.SIGTERM

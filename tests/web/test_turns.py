"""Pages are made one after the other, first come, first served; and nobody waits for long."""

import threading
import time

import pytest

from studio.web.turns import Turns
from tests.deploy.processes import until

WAIT_S = 20


class Visit(threading.Thread):
    """Takes a turn and holds it until told to leave."""

    def __init__(self, turns: Turns, said: list[str], name: str) -> None:
        super().__init__(daemon=True, name=name)
        self.turns, self.said, self.leave = turns, said, threading.Event()
        self.had: bool | None = None
        self.start()

    def run(self) -> None:
        with self.turns.taken() as self.had:
            self.said.append(self.name)
            self.leave.wait(WAIT_S)


def waiting(turns: Turns, many: int) -> None:
    until(lambda: len(turns._waiting) == many, WAIT_S, f"{many} wait")


def test_who_comes_first_is_first_and_one_at_a_time():
    turns, said = Turns(patience_s=WAIT_S), []
    visits = []
    for number in range(5):
        visits.append(Visit(turns, said, str(number)))
        if number:
            waiting(turns, number)
    for number, visit in enumerate(visits):
        until(lambda n=number: len(said) == n + 1, WAIT_S, "the next has its turn")
        visit.leave.set()
        visit.join(WAIT_S)
    assert said == ["0", "1", "2", "3", "4"]
    assert all(visit.had for visit in visits)
    with turns.taken() as had:
        assert had


def test_as_many_at_once_as_were_asked_for():
    turns, said = Turns(at_once=2, patience_s=WAIT_S), []
    first, second = Visit(turns, said, "a"), Visit(turns, said, "b")
    until(lambda: len(said) == 2, WAIT_S, "both are at it")
    third = Visit(turns, said, "c")
    waiting(turns, 1)
    assert len(said) == 2
    second.leave.set()
    until(lambda: len(said) == 3, WAIT_S, "the third")
    first.leave.set()
    third.leave.set()


def test_who_has_waited_long_goes_on_without_a_turn_and_takes_none_away():
    turns, said = Turns(patience_s=0.05), []
    slow = Visit(turns, said, "slow")
    until(lambda: said, WAIT_S, "it has begun")
    begun = time.monotonic()
    with turns.taken() as had:
        assert not had
    assert time.monotonic() - begun < WAIT_S / 2
    slow.leave.set()
    slow.join(WAIT_S)
    with turns.taken() as first, turns.taken() as second:
        assert (first, second) == (True, False)


def test_a_page_that_fails_gives_its_turn_back():
    turns = Turns(patience_s=0.05)
    with pytest.raises(ZeroDivisionError), turns.taken():
        raise ZeroDivisionError
    with turns.taken() as had:
        assert had

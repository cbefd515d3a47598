"""What a process remembers: little, not for long, and never anything but what was made."""

import pytest

from studio.review.ttl_cache import TtlCache


class Clock:
    now = 100.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


def test_a_value_is_made_once_while_it_is_remembered(clock):
    made = []
    recent = TtlCache(most=2, seconds=60.0, clock=clock)
    for _ in range(3):
        assert recent.get("a", lambda: made.append("a") or "value") == "value"
    assert made == ["a"]


def test_the_one_asked_for_longest_ago_makes_room(clock):
    made = []
    recent = TtlCache(most=2, seconds=60.0, clock=clock)
    for key in "abacab":
        recent.get(key, lambda key=key: made.append(key) or key)
    assert made == ["a", "b", "c", "b"]


def test_what_nobody_asks_for_is_forgotten(clock):
    made = []
    recent = TtlCache(most=9, seconds=60.0, clock=clock)
    recent.get("a", lambda: made.append("a"))
    clock.now += 61.0
    recent.get("b", lambda: made.append("b"))
    assert list(recent._kept) == ["b"]
    recent.get("a", lambda: made.append("a"))
    assert made == ["a", "b", "a"]

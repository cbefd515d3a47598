"""Whole numbers from outside are read in one place."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.figures import whole
from studio.figures.reading import LARGEST

STUDIO = Path(__file__).resolve().parents[2] / "studio"
# /proc's own files, and the one place itself.
ELSEWHERE = {"processes.py", "figures/reading.py"}


@pytest.mark.parametrize(
    "typed", ["²", "٣", "１", "1_000", "0x1", "1e3", "1.0", "", " ", "-", "--1"]
)
def test_what_is_no_plain_whole_number_is_none(typed):
    assert whole(typed, low=-LARGEST) is None


@given(st.integers(-(10**25), 10**25))
def test_a_number_is_read_within_its_bounds_alone(number):
    assert whole(str(number), low=-5, high=12) == (number if -5 <= number <= 12 else None)
    assert whole(number) == (number if 0 <= number <= LARGEST else None)


@given(st.text())
def test_no_text_raises(text):
    number = whole(text)
    assert number is None or number == int(text)


def test_nothing_else_decides_what_a_digit_is():
    found = [
        f"{path.relative_to(STUDIO)}:{number}"
        for path in STUDIO.rglob("*.py")
        if str(path.relative_to(STUDIO)) not in ELSEWHERE
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if re.search(r"\.is(digit|decimal|numeric)\(", line)
    ]
    assert found == []

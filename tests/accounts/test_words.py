from datetime import timedelta

import pytest
from django.utils import timezone

from studio.accounts.templatetags import words


@pytest.mark.parametrize(
    ("seconds", "reads"),
    [(0, "0:00"), (59.4, "0:59"), (84.2, "1:24"), (119.7, "2:00"), (3661, "1:01:01"), (None, "")],
)
def test_a_length_reads_in_minutes_and_seconds(seconds, reads):
    assert words.clock(seconds) == reads


@pytest.mark.parametrize(
    ("past", "reads"),
    [
        (timedelta(seconds=20), "a moment"),
        (timedelta(minutes=1, seconds=59), "1 minute"),
        (timedelta(hours=23, minutes=59), "23 hours"),
        (timedelta(days=9, hours=23), "9 days"),
    ],
)
def test_a_wait_is_said_in_one_unit_rounded_down(past, reads):
    assert words.ago(timezone.now() - past) == reads


def test_a_due_day_is_said_as_one_says_it():
    today = timezone.localdate()
    assert words.due(today) == "due today"
    assert words.due(today + timedelta(days=1)) == "due tomorrow"
    assert words.due(today - timedelta(days=1)).startswith("was due on ")
    assert words.due(today + timedelta(days=5)).startswith("by ")
    assert words.overdue(today - timedelta(days=1))
    assert not words.overdue(today)


def test_days_near_are_named_and_others_dated():
    today = timezone.localdate()
    assert words.day(today) == "today"
    assert words.day(timezone.now() - timedelta(days=1)) == "yesterday"
    assert words.day(today - timedelta(days=3)) == f"{today - timedelta(days=3):%A}"
    assert str(today.year - 2) in words.day(today - timedelta(days=800))


def test_nothing_is_counted_as_no():
    assert words.count_of(None, "mark,marks") == "no marks"
    assert words.count_of(1, "mark,marks") == "1 mark"
    assert words.count_of(3, "mark,marks") == "3 marks"


def test_a_deviation_has_its_sign_its_unit_and_its_uncertainty():
    assert words.deviation({"deviation_cents": 18.2, "uncertainty_cents": 0.6}) == "+18 ± 1 cents"
    assert words.deviation({"deviation_cents": -22.0, "uncertainty_cents": 3.4}) == "−22 ± 4 cents"
    assert words.deviation({"deviation_cents": 5.0}) == "+5 cents"
    assert words.deviation({}) == ""

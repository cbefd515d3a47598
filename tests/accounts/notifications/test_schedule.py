"""When a letter comes: pace and quiet hours by the person's own clock, also when it is put forward
or back.

Each answer is compared with a walk over the wall clock, minute by minute (Python's zoneinfo, IANA's
time zone database). Berlin and New York change their clocks on different days; Lord Howe Island
moves its own by half an hour.
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from studio.accounts.models import NotificationTimes
from studio.accounts.notifications import schedule

ZONES = ("Europe/Berlin", "America/New_York", "Australia/Lord_Howe")
# Around the changes of 2026: forward, back, forward, back; of Lord Howe back, forward.
CHANGES = {
    "Europe/Berlin": ("2026-03-29T01:00", "2026-10-25T01:00"),
    "America/New_York": ("2026-03-08T07:00", "2026-11-01T06:00"),
    "Australia/Lord_Howe": ("2026-04-04T15:00", "2026-10-03T15:30"),
}
HOURS = st.integers(0, 23)
MINUTE = timedelta(minutes=1)


def times(zone: str, **more) -> NotificationTimes:
    return NotificationTimes(time_zone=zone, **{"quiet_from": 0, "quiet_until": 0} | more)


@st.composite
def moments(draw) -> tuple[str, datetime]:
    """A zone, and a minute within a day and a half of one of its changes, or any of the year."""
    zone = draw(st.sampled_from(ZONES))
    if draw(st.integers(0, 3)):
        change = datetime.fromisoformat(draw(st.sampled_from(CHANGES[zone]))).replace(tzinfo=UTC)
        return zone, change + draw(st.integers(-36 * 60, 36 * 60)) * MINUTE
    return zone, datetime(2026, 1, 1, tzinfo=UTC) + draw(st.integers(0, 365 * 1440)) * MINUTE


def quiet_by_the_wall(zone: str, start: int, until: int, moment: datetime) -> bool:
    hour, quiet = moment.astimezone(ZoneInfo(zone)).hour, set()
    while start != until:
        quiet.add(start)
        start = (start + 1) % 24
    return hour in quiet


@settings(max_examples=150)
@given(moments(), HOURS, HOURS)
def test_a_letter_waits_for_the_first_minute_that_is_not_quiet(place, start, until):
    zone, since = place
    found = schedule.after_quiet(times(zone, quiet_from=start, quiet_until=until), since)
    walked = since
    while quiet_by_the_wall(zone, start, until, walked):
        walked += MINUTE
    assert found == walked
    # A day; two where the only hour that is not quiet is the one over which the clock jumps.
    assert found - since <= timedelta(hours=48)


@settings(max_examples=100)
@given(moments(), HOURS, HOURS, HOURS)
def test_a_daily_letter_comes_at_its_hour_and_never_in_quiet_hours(place, hour, start, until):
    zone, since = place
    wanted = times(zone, pace="daily", hour=hour, quiet_from=start, quiet_until=until)
    found = schedule.due_at(wanted, since)
    assert not quiet_by_the_wall(zone, start, until, found)
    assert since <= found <= since + timedelta(hours=49)
    assume(not quiet_by_the_wall(zone, start, until, schedule._next_of_pace(wanted, since)))
    wall = found.astimezone(ZoneInfo(zone))
    before = (found - MINUTE).astimezone(ZoneInfo(zone))
    # At its hour sharp; where the clock jumps over that hour, in the minute after the jump.
    jumped = (wall.replace(tzinfo=None) - before.replace(tzinfo=None)) > MINUTE
    assert (wall.hour, wall.minute) == (hour, 0) or jumped


@settings(max_examples=60)
@given(moments(), HOURS, st.integers(0, 6))
def test_a_weekly_letter_comes_on_its_day(place, hour, weekday):
    zone, since = place
    found = schedule.due_at(times(zone, pace="weekly", hour=hour, weekday=weekday), since)
    assert found.astimezone(ZoneInfo(zone)).weekday() == weekday
    assert since <= found < since + timedelta(days=8, hours=2)


def at(zone: str, wall: str, fold: int = 0) -> datetime:
    return datetime.fromisoformat(wall).replace(tzinfo=ZoneInfo(zone), fold=fold).astimezone(UTC)


@pytest.mark.parametrize(
    ("zone", "start", "until", "since", "ends"),
    [
        # The clock jumps from 2 to 3: the quiet hours that were to end at 2 end with the jump.
        ("Europe/Berlin", 22, 2, "2026-03-29T01:30", "2026-03-29T03:00"),
        ("America/New_York", 22, 2, "2026-03-08T01:30", "2026-03-08T03:00"),
        # An hour less, and an hour more, of the same night.
        ("Europe/Berlin", 21, 7, "2026-03-28T23:00", "2026-03-29T07:00"),
        ("Europe/Berlin", 21, 7, "2026-10-24T23:00", "2026-10-25T07:00"),
        ("America/New_York", 21, 7, "2026-10-31T23:00", "2026-11-01T07:00"),
        # The one hour that is not quiet is jumped over: on the next day it is there.
        ("Europe/Berlin", 3, 2, "2026-03-28T03:00", "2026-03-30T02:00"),
    ],
)
def test_nights_in_which_the_clock_is_changed(zone, start, until, since, ends):
    wanted = times(zone, quiet_from=start, quiet_until=until)
    assert schedule.after_quiet(wanted, at(zone, since)) == at(zone, ends)


def test_an_hour_that_comes_twice_is_quiet_twice():
    wanted = times("Europe/Berlin", quiet_from=2, quiet_until=3)
    first, second = (
        at("Europe/Berlin", "2026-10-25T02:30"),
        at("Europe/Berlin", "2026-10-25T02:30", 1),
    )
    assert second - first == timedelta(hours=1)
    assert schedule.after_quiet(wanted, first) == at("Europe/Berlin", "2026-10-25T03:00")
    assert schedule.after_quiet(wanted, second) == at("Europe/Berlin", "2026-10-25T03:00")


def test_a_zone_that_is_known_no_more_is_the_studios():
    assert schedule.zone_of(times("Nowhere/At_all")) == schedule.zone_of(times(""))

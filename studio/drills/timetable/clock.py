"""A wall clock's day and time as a moment, and weeks. Pure: the standard library alone.

Zones are names of the IANA time zone database. A time that a clock skips when it is put forward is
read with the offset from before (2:30 is then 3:30), one that comes twice means the first: RFC
5545, 3.3.5, which is what ``fold=0`` does (PEP 495).
"""

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

WEEK = timedelta(weeks=1)


@lru_cache(maxsize=64)
def zone_named(name: str) -> ZoneInfo:
    """The zone; UTC where the database knows the name no more."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return ZoneInfo("UTC")


def moment(day: date, at: time, zone: str) -> datetime:
    """When a clock in ``zone`` shows it, in UTC.

    >>> moment(date(2026, 3, 24), time(16), "Europe/Berlin").hour
    15
    >>> moment(date(2026, 3, 31), time(16), "Europe/Berlin").hour
    14
    """
    return datetime.combine(day, at.replace(fold=0), zone_named(zone)).astimezone(UTC)


def monday_of(day: date) -> date:
    return day - timedelta(days=day.weekday())


def weekly(first: date, until: date) -> list[date]:
    """The days a week apart from ``first`` on, ``until`` included."""
    return [first + weeks * WEEK for weeks in range((until - first) // WEEK + 1)]

"""When a letter comes: the person's own pace and quiet hours, by the clock of her time zone.

Moments are aware datetimes; hours are whole hours of a wall clock. Where a clock is put forward, a
wall time that does not exist stands for the moment at which the clock jumps over it; where it is
put back, one that comes twice means the first (PEP 495, ``fold=0``).
"""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone

from studio.accounts.models import NotificationTimes, Person

# Chosen by this project; each person chooses others.
QUIET_FROM, QUIET_UNTIL = 21, 7  # hours of the clock
MINUTE = timedelta(minutes=1)
LONGEST_QUIET_H = 16  # letters that wait are kept for a day

Pace = NotificationTimes.Pace


def times_of(person: Person) -> NotificationTimes:
    """What the person chose, or else the usual (that row is not saved)."""
    usual = {"quiet_from": QUIET_FROM, "quiet_until": QUIET_UNTIL}
    found = NotificationTimes.objects.filter(person=person).first()
    return found or NotificationTimes(person=person, **usual)


def zone_of(times: NotificationTimes) -> ZoneInfo:
    """Her time zone; the studio's where none was chosen, or where it is known no more."""
    try:
        return ZoneInfo(times.time_zone) if times.time_zone else _studios()
    except (KeyError, ValueError):
        return _studios()


def due_at(times: NotificationTimes, since: datetime) -> datetime:
    """The first moment from ``since`` on at which a letter may come."""
    return after_quiet(times, _next_of_pace(times, since))


def is_quiet(times: NotificationTimes, moment: datetime) -> bool:
    hour = moment.astimezone(zone_of(times)).hour
    if times.quiet_from <= times.quiet_until:
        return times.quiet_from <= hour < times.quiet_until
    return hour >= times.quiet_from or hour < times.quiet_until


def after_quiet(times: NotificationTimes, moment: datetime) -> datetime:
    """The moment itself, or the end of the quiet hours in which it lies."""
    if not is_quiet(times, moment):
        return moment
    zone = zone_of(times)
    end = _next_hour(zone, times.quiet_until, moment)
    # An hour that comes twice may lie in the quiet hours with its second time too; and one over
    # which the clock jumps ends in an hour that may be quiet.
    while is_quiet(times, end):
        end = _next_hour(zone, times.quiet_until, end + MINUTE)
    return end


def quiet_hours(quiet_from: int, quiet_until: int) -> int:
    """How many hours of the clock are quiet.

    >>> quiet_hours(21, 7), quiet_hours(7, 7)
    (10, 0)
    """
    return (quiet_until - quiet_from) % 24


def _next_of_pace(times: NotificationTimes, since: datetime) -> datetime:
    if times.pace == Pace.AT_ONCE:
        return since
    weekday = times.weekday if times.pace == Pace.WEEKLY else None
    return _next_hour(zone_of(times), times.hour, since, weekday)


def _next_hour(zone: ZoneInfo, hour: int, since: datetime, weekday: int | None = None) -> datetime:
    """The first moment from ``since`` on that begins this hour there, on this weekday if any."""
    day = since.astimezone(zone).date() - timedelta(days=1)  # a clock may be put back past midnight
    while True:
        moment = datetime.combine(day, time(hour), zone).astimezone(UTC)
        if moment >= since and weekday in (None, day.weekday()):
            return moment
        day += timedelta(days=1)


def _studios() -> ZoneInfo:
    zone = timezone.get_default_timezone()
    return zone if isinstance(zone, ZoneInfo) else ZoneInfo("UTC")

"""Places and lengths in a recording, waits and days. See the package for the rules.

Dates are the reader's own (local) ones, in the order and with the names of the reader's language
(:mod:`~studio.figures.translation`); ``today`` and ``past`` are given, so that
nothing here looks at a clock.
"""

import re
from datetime import date, datetime, time, timedelta

from .rounding import downwards, is_known, nearest, written
from .translation import N_, _, ngettext

TOLD_S = 2e-6  # players tell their time in whole microseconds, cut off: 4.35 as 4.349999
NEAR_DAYS = 6  # within a week a weekday says enough
NEAR_MONTHS = 10  # within that a month's name cannot mean another year's
_DAYS = (
    N_("Monday"),
    N_("Tuesday"),
    N_("Wednesday"),
    N_("Thursday"),
    N_("Friday"),
    N_("Saturday"),
    N_("Sunday"),
)
NEAR_MONTHS = 10  # within that a month's name cannot mean another year's
_UNITS = (
    (timedelta(days=1), "day"),
    (timedelta(hours=1), "hour"),
    (timedelta(minutes=1), "minute"),
)
_DAYS = (
    N_("Monday"),
    N_("Tuesday"),
    N_("Wednesday"),
    N_("Thursday"),
    N_("Friday"),
    N_("Saturday"),
    N_("Sunday"),
)
_MONTHS = (
    N_("January"),
    N_("February"),
    N_("March"),
    N_("April"),
    N_("May"),
    N_("June"),
    N_("July"),
    N_("August"),
    N_("September"),
    N_("October"),
    N_("November"),
    N_("December"),
)
_PLACE = re.compile(r"(?:(?:(\d{1,2}):(?=\d{1,2}:))?(\d{1,3}):)?(\d{1,5}(?:[.,]\d{1,3})?)")


# -- in a recording -----------------------------------------------------------------------------


def place(seconds: float | None, digits: int = 0) -> str:
    """A moment of a recording, floored: 119.7 reads 1:59, with a tenth 1:59.7.

    >>> place(119.7), place(72.04, 1), place(3725), place(None)
    ('1:59', '1:12.0', '1:02:05', '')
    """
    if not is_known(seconds):
        return ""
    return _clock(downwards(max(seconds, 0.0) + TOLD_S, digits), digits)


def length(seconds: float | None) -> str:
    """How long a recording is, to the nearest second: 84.2 reads 1:24, 119.7 reads 2:00."""
    return _clock(nearest(max(seconds, 0.0)), 0) if is_known(seconds) else ""


def seconds(value: float, digits: int = 1) -> str:
    """``0.6 s``, ``2 s``"""
    text = written(nearest(value, digits), digits).removesuffix(".0")
    return f"{text.replace('.', _('.'))} s"


def minutes_or_seconds(whole: int) -> str:
    """A bound in words: ``15 minutes``, ``90 seconds``."""
    minutes, left = divmod(whole, 60)
    if minutes > 1 and not left:
        return _("%(minutes)s minutes") % {"minutes": minutes}
    return _("%(seconds)s seconds") % {"seconds": whole}


def parse_place(text: str) -> float:
    """Seconds from ``1:02.4``, ``62.4`` or ``1:02:05``.

    Raises
    ------
    ValueError
        With a sentence that says how to write it.
    """
    found = _PLACE.fullmatch(text.strip())
    if not found:
        raise ValueError(
            _("“%(text)s” is not a moment; write it like 1:02.4 (minutes and seconds).")
            % {"text": text}
        )
    hours, minutes = int(found[1] or 0), int(found[2] or 0)
    rest = float(found[3].replace(",", "."))
    if found[2] and rest >= 60:
        raise ValueError(
            _("“%(text)s” has more than 59 seconds; write it like 1:02.4.") % {"text": text}
        )
    if found[1] and minutes >= 60:
        raise ValueError(
            _("“%(text)s” has more than 59 minutes; write it like 1:02:04.") % {"text": text}
        )
    return 3600.0 * hours + 60.0 * minutes + rest


def _clock(ticks: int, digits: int) -> str:
    whole, part = divmod(ticks, 10**digits)
    minutes, left = divmod(whole, 60)
    hours, minute = divmod(minutes, 60)
    head = f"{hours}:{minute:02d}" if hours else str(minutes)
    return f"{head}:{left:02d}" + (f"{_('.')}{part:0{digits}d}" if digits else "")


# -- waits and days -----------------------------------------------------------------------------


def ago(past: timedelta) -> str:
    """How long since: 9 days, 5 hours, 12 minutes, a moment."""
    minutes = past // timedelta(minutes=1)
    days, hours = minutes // (24 * 60), minutes // 60
    if days >= 1:
        return ngettext("%(days)s day", "%(days)s days", days) % {"days": days}
    if hours >= 1:
        return ngettext("%(hours)s hour", "%(hours)s hours", hours) % {"hours": hours}
    if minutes >= 1:
        words = ngettext("%(minutes)s minute", "%(minutes)s minutes", minutes)
        return words % {"minutes": minutes}
    return _("a moment")


def day(when: date, today: date) -> str:
    """Today, yesterday, a weekday of the last days, else the date."""
    past = (today - when).days
    if past in (0, 1):
        return (_("today"), _("yesterday"))[past]
    if 1 < past <= NEAR_DAYS:
        return _(_DAYS[when.weekday()])
    return short_date(when) if when.year == today.year else long_date(when)


def due(when: date, today: date) -> str:
    """A due day as one says it: due today, by Friday 4 December, was due on Monday 1 June."""
    left = (when - today).days
    if left < 0:
        return _("was due on %(day)s") % {"day": weekday_date(when)}
    if left <= 1:
        return (_("due today"), _("due tomorrow"))[left]
    return _("by %(day)s") % {"day": weekday_date(when)}


def is_overdue(when: date, today: date) -> bool:
    return when < today


def _parts(when: date) -> dict[str, object]:
    """What a date is put together of, in the order that a language has."""
    month = _(_MONTHS[when.month - 1])
    weekday = _(_DAYS[when.weekday()])
    return {"weekday": weekday, "day": when.day, "month": month, "year": when.year}


def short_date(when: date) -> str:
    """``4 December``"""
    return _("%(day)s %(month)s") % _parts(when)


def long_date(when: date) -> str:
    """``4 December 2026``"""
    return _("%(day)s %(month)s %(year)s") % _parts(when)


def weekday_date(when: date) -> str:
    """``Friday 4 December``"""
    return _("%(weekday)s %(day)s %(month)s") % _parts(when)


def weekday_short(when: date) -> str:
    """``Fri``, for where there is little room."""
    return _(_DAYS[when.weekday()])[:3]


def full_date(when: date) -> str:
    """``Friday 4 December 2026``"""
    return _("%(weekday)s %(day)s %(month)s %(year)s") % _parts(when)


def month(when: date) -> str:
    """``December 2026``"""
    return _("%(month)s %(year)s") % _parts(when)


def month_short(when: date, *, with_year: bool = False) -> str:
    """``Dec`` or ``Dec 2026``, for where there is little room."""
    return _(_MONTHS[when.month - 1])[:3] + (f" {when.year}" if with_year else "")


def month_since(when: date, today: date) -> str:
    """``September``, and with its year once that month is a year ago or nearly."""
    past = (today.year - when.year) * 12 + today.month - when.month
    return _(_MONTHS[when.month - 1]) if 0 <= past <= NEAR_MONTHS else month(when)


def time_of_day(when: datetime | time) -> str:
    """``18:05``"""
    return f"{when.hour:02d}:{when.minute:02d}"


def date_time(when: datetime) -> str:
    """``4 December 2026, 18:05``"""
    return _("%(day)s, %(time)s") % {"day": long_date(when), "time": time_of_day(when)}


def weekday_time(when: datetime) -> str:
    """``Friday 4 December, 18:05``"""
    return _("%(day)s, %(time)s") % {"day": weekday_date(when), "time": time_of_day(when)}

"""When an event of a calendar's file happens, within bounds: RRULE, RDATE and EXDATE.

Everything here is by the wall clock of the event's own zone, without an offset (RFC 5545, 3.3.10:
a rule goes on by local time). The rules themselves are python-dateutil's; what repeats more often
than daily is no lesson and is not even begun, and a rule is followed for ``MOST_STEPS`` steps.

A rule that never comes true, such as each 30 February, is followed by the library until the last
year it knows, 9999. The Gregorian calendar comes again after 400 years, weekdays too, so rules are
followed late in that time: at most 400 years are looked through, and not 8,000.
"""

from collections.abc import Iterable, Iterator
from datetime import MAXYEAR, date, datetime, time
from itertools import islice

from dateutil.rrule import rrulestr

from studio import figures

OFTEN = ("DAILY", "WEEKLY", "MONTHLY", "YEARLY")
BY_HOURS = ("BYHOUR", "BYMINUTE", "BYSECOND")
MOST_INTERVAL = 9_999
KNOWN_PARTS = {
    *("FREQ", "INTERVAL", "COUNT", "WKST", "BYDAY", "BYMONTH", "BYMONTHDAY", "BYYEARDAY"),
    *("BYWEEKNO", "BYSETPOS"),
}
MOST_STEPS = 20_000  # days of a rule that began long ago: 54 years
CYCLE = 400  # years
EARLIEST_YEAR = 1600


class CannotRepeat(ValueError):
    """The rule is not followed; its text is a code of :mod:`.sentences`."""


def times_of(
    begins: datetime,
    rule: dict | None,
    until: datetime | None,
    extra: Iterable[datetime] = (),
    without: Iterable[datetime | date] = (),
    *,
    first: date,
    last: date,
) -> list[datetime]:
    """The times between the days ``first`` and ``last``, both included, in order, each once.

    Parameters
    ----------
    begins : DTSTART
    rule : the parts of RRULE but UNTIL, as text; ``None`` where nothing repeats by rule
    until : its UNTIL, by the event's own clock
    extra, without : RDATE and EXDATE; a day among ``without`` takes all of its times away

    Raises
    ------
    CannotRepeat
        ``too_often`` or ``rule``.
    """
    found = {begins} if first <= begins.date() <= last else set()
    if rule:
        found |= set(_by_rule(begins, rule, until, first, last))
    found |= {each for each in extra if first <= each.date() <= last}
    gone = set(without)
    return sorted(each for each in found if each not in gone and each.date() not in gone)


def _by_rule(
    begins: datetime, rule: dict, until: datetime | None, first: date, last: date
) -> Iterator[datetime]:
    if rule.get("FREQ", "").upper() not in OFTEN or any(part in rule for part in BY_HOURS):
        raise CannotRepeat("too_often")
    if not _can_be_followed(begins, rule):
        raise CannotRepeat("rule")
    end = min(until or datetime.max, datetime.combine(last, time(23, 59, 59)))
    if end < begins:
        return
    later = (MAXYEAR - end.year) // CYCLE * CYCLE
    said = ";".join(f"{part}={value}" for part, value in rule.items())
    try:
        followed = rrulestr(f"RRULE:{said}", dtstart=_moved(begins, later))
        if "COUNT" not in rule:  # a rule has one of them (3.3.10), and the library insists
            followed = followed.replace(until=_moved(end, later))
        for each in islice(followed, MOST_STEPS):
            found = _moved(each, -later)
            if found > end:
                return
            if found.date() >= first:
                yield found
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError, IndexError) as error:
        raise CannotRepeat("rule") from error


def _can_be_followed(begins: datetime, rule: dict) -> bool:
    steps = figures.whole(rule.get("INTERVAL", "1"), low=1, high=MOST_INTERVAL) is not None
    return steps and rule.keys() <= KNOWN_PARTS and begins.year >= EARLIEST_YEAR


def _moved(when: datetime, years: int) -> datetime:
    """The same day of the year, and of the week, so many times 400 years away."""
    return when.replace(year=when.year + years)

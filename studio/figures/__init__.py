"""The one way to say a figure, a time or a day. Pure: the standard library alone.

Every page, letter, table and sentence says its figures by these functions;
``static/figures.js`` is the same for the browser, and a test holds the two against each other,
character by character. One rule for each kind of figure:

* **Nearest.** What was measured is rounded to the nearest, half away from zero: 18.5 cents read
  19, −18.5 read −19. What rounds to nothing has no sign: 0, never +0 or −0.
* **Uncertainty.** One standard deviation, rounded up, so that nothing looks surer than it is, and
  never below 1 in the last digit shown: ±1 c in whole cents, ± 0.1 cents in tenths.
* **Millimetres** on the string are whole, with "about" and without ±: a fingertip cannot be placed
  finer, and a pupil should not try. Below half a millimetre they are "less than 1 mm".
* **A place** in a recording is floored to the digit shown, as players show it: 119.7 s is in 1:59,
  119.96 s in 1:59.9. So a press on what is read never starts after what was meant.
* **A length** of a recording is rounded to the nearest second: 119.7 s are 2:00. Both are rounded
  before they are split, so that 1:60 is never read; from an hour on they are h:mm:ss.
* **Seconds** as a figure of their own ("held for 0.6 s") have at most one decimal.
* **A share** in per cent is floored, so that 100 % is all of it. Sizes of files are in megabytes,
  to a tenth; from 100 on whole; never 0.
* **A wait** is said in its largest unit, rounded down. **A day** is today, yesterday or a weekday
  while it is near, else its date.

What is not known, or is no number, reads as a dash where a figure stands by itself; a place or a
length that is not known is empty.
"""

from .reading import whole
from .rounding import decimal, is_known
from .sizes import (
    MB,
    about_mm,
    beats,
    cents,
    cents_between,
    cents_short,
    count,
    decibels,
    hertz,
    megabytes,
    millimetres,
    number,
    ordinal,
    percent,
    plus_minus,
    range_percent,
    rounds_to_nothing,
    signed,
    signed_cents,
    uncertainty,
)
from .times import (
    ago,
    date_time,
    day,
    due,
    full_date,
    is_overdue,
    length,
    long_date,
    minutes_or_seconds,
    month,
    month_short,
    month_since,
    parse_place,
    place,
    seconds,
    short_date,
    time_of_day,
    weekday_date,
    weekday_short,
    weekday_time,
)

__all__ = [
    "MB",
    "about_mm",
    "ago",
    "beats",
    "cents",
    "cents_between",
    "cents_short",
    "count",
    "date_time",
    "day",
    "decibels",
    "decimal",
    "due",
    "full_date",
    "hertz",
    "is_known",
    "is_overdue",
    "length",
    "long_date",
    "megabytes",
    "millimetres",
    "minutes_or_seconds",
    "month",
    "month_short",
    "month_since",
    "number",
    "ordinal",
    "parse_place",
    "percent",
    "place",
    "plus_minus",
    "range_percent",
    "rounds_to_nothing",
    "seconds",
    "short_date",
    "signed",
    "signed_cents",
    "time_of_day",
    "uncertainty",
    "weekday_date",
    "weekday_short",
    "weekday_time",
    "whole",
]

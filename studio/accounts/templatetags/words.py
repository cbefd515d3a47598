"""Figures and dates in templates. What they read as is :mod:`studio.figures`' to say."""

from collections.abc import Iterable
from datetime import date, datetime

from django import template
from django.utils import timezone

from studio import figures
from studio.accounts.names import listed

register = template.Library()


@register.filter
def listed_or(people: Iterable[object]) -> str:
    """``Edda or Otto``"""
    return listed(people, "or")


# -- in a recording -----------------------------------------------------------------------------


@register.filter
def clock(seconds: float | None) -> str:
    """How long a recording is, to the nearest second: 119.7 reads 2:00."""
    return figures.length(seconds)


@register.filter
def place(seconds: float | None) -> str:
    """Where in a recording, as its player shows it: 119.7 is in 1:59."""
    return figures.place(seconds)


@register.filter
def plain_number(value: float, digits: int = 3) -> str:
    """A number for scripts: a full stop, whatever the language of the page."""
    return figures.decimal(value, digits)


# -- sizes --------------------------------------------------------------------------------------


@register.filter
def deviation(params: dict | None) -> str:
    """The figure behind a mark: a signed deviation in cents with its uncertainty."""
    params = params or {}
    return figures.signed_cents(params.get("deviation_cents"), params.get("uncertainty_cents"))


@register.filter
def millimetres(value: float) -> str:
    """``328 mm``, ``357.5 mm``"""
    return figures.millimetres(value)


@register.filter
def whole_mm(value: float) -> str:
    return figures.millimetres(value, digits=0)


@register.filter
def megabytes(size_bytes: int) -> str:
    """``12.3 MB``"""
    return figures.megabytes(size_bytes)


@register.filter
def number(value: float) -> str:
    """A number without idle noughts, to the hundredth."""
    return figures.number(value, 2)


@register.filter
def count_of(count: int | None, words: str) -> str:
    """A number with its noun: ``3|count_of:"mark,marks"`` reads 3 marks; none reads no marks."""
    one, many = words.split(",")
    return figures.count(count, one, many)


# -- waits and days -----------------------------------------------------------------------------


@register.filter
def ago(moment: datetime | None) -> str:
    """How long since, in one unit: 9 days, 5 hours, 12 minutes, a moment."""
    return "" if moment is None else figures.ago(timezone.now() - moment)


@register.filter
def day(moment: datetime | date | None) -> str:
    """Today, yesterday, a weekday of the last days, else the date."""
    if moment is None:
        return ""
    when = _local(moment)
    on = when.date() if isinstance(when, datetime) else when
    return figures.day(on, timezone.localdate())


@register.filter
def due(when: date | None) -> str:
    """A due day as one says it: due today, by Friday 4 December, was due on Monday."""
    return "" if when is None else figures.due(when, timezone.localdate())


@register.filter
def overdue(when: date | None) -> bool:
    return when is not None and figures.is_overdue(when, timezone.localdate())


@register.filter
def isodate(text: str | None) -> date | None:
    """A date kept as text in a snapshot."""
    return date.fromisoformat(text) if text else None


@register.filter
def as_iso(when: date) -> str:
    """A date for a form's field."""
    return when.isoformat()


def _local(moment: datetime | date) -> date:
    """The day, or the day and time, where the reader is."""
    return timezone.localtime(moment) if isinstance(moment, datetime) else moment


def _register(write) -> None:
    def dated(moment: datetime | date | None) -> str:
        return "" if moment is None else write(_local(moment))

    register.filter(write.__name__, dated)


for write in (
    figures.short_date,
    figures.long_date,
    figures.weekday_date,
    figures.full_date,
    figures.month,
    figures.time_of_day,
    figures.date_time,
    figures.weekday_time,
):
    _register(write)

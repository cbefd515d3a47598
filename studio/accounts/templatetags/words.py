"""Figures and dates in the words that people use."""

from datetime import date, datetime, timedelta

from django import template
from django.template.defaultfilters import date as format_date
from django.utils import timezone

register = template.Library()

MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
NEAR_DAYS = 6  # within a week a weekday says enough


@register.filter
def clock(seconds: float | None) -> str:
    """Minutes and seconds, to the nearest second: 84.2 reads 1:24, 119.7 reads 2:00."""
    if seconds is None:
        return ""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


@register.filter
def ago(moment: datetime | None) -> str:
    """How long since, in one unit, rounded down: 9 days, 5 hours, 12 minutes, a moment."""
    if moment is None:
        return ""
    past = timezone.now() - moment
    for unit, name in ((DAY, "day"), (HOUR, "hour"), (MINUTE, "minute")):
        count = past // unit
        if count >= 1:
            return f"{count} {name}{'s' if count > 1 else ''}"
    return "a moment"


@register.filter
def day(moment: datetime | date | None) -> str:
    """Today, yesterday, a weekday of the last days, else the date."""
    if moment is None:
        return ""
    when = timezone.localtime(moment).date() if isinstance(moment, datetime) else moment
    past = (timezone.localdate() - when).days
    if past in (0, 1):
        return ("today", "yesterday")[past]
    if 1 < past <= NEAR_DAYS:
        return format_date(when, "l")
    same_year = when.year == timezone.localdate().year
    return format_date(when, "j F" if same_year else "j F Y")


@register.filter
def due(when: date | None) -> str:
    """A due day as one says it: due today, by Friday 4 December, was due on Monday."""
    if when is None:
        return ""
    left = (when - timezone.localdate()).days
    if left < 0:
        return f"was due on {format_date(when, 'l j F')}"
    if left <= 1:
        return ("due today", "due tomorrow")[left]
    return f"by {format_date(when, 'l j F')}"


@register.filter
def overdue(when: date | None) -> bool:
    return when is not None and when < timezone.localdate()


@register.filter
def isodate(text: str | None) -> date | None:
    """A date kept as text in a snapshot."""
    return date.fromisoformat(text) if text else None


@register.filter
def count_of(count: int | None, words: str) -> str:
    """A number with its noun: ``3|count_of:"mark,marks"`` reads 3 marks; none reads no marks."""
    one, many = words.split(",")
    return f"{count or 'no'} {one if count == 1 else many}"


@register.filter
def plain_number(value: float) -> str:
    """A number for scripts: a full stop, whatever the language of the page."""
    return f"{value:.3f}"


@register.filter
def deviation(params: dict | None) -> str:
    """The figure behind a mark: a signed deviation in cents with its uncertainty."""
    params = params or {}
    cents, doubt = params.get("deviation_cents"), params.get("uncertainty_cents")
    if cents is None:
        return ""
    size = f"{'+' if cents > 0 else '−'}{abs(cents):.0f}"
    return f"{size} cents" if doubt is None else f"{size} ± {max(doubt, 1):.0f} cents"

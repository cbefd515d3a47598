"""What lessons a calendar's file holds: plain values, made within bounds.

Read with the library ``icalendar``, event by event. Events of one UID are one row of what is shown:
the event, its repetitions within the days asked for, and what replaces some of them
(RECURRENCE-ID). A time without a zone is meant by the reader's own clock (RFC 5545, 3.3.5), and one
in UTC is kept by it too, for then nobody said by which clock it goes on.

A row is ``{"uid", "summary", "where", "lessons", "remarks"}``; a lesson ``{"key", "day", "at",
"zone", "minutes", "where", "cancelled"}``, where ``key`` is the day it was meant for in a series.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from icalendar import Event

from .events import events_in
from .repeating import CannotRepeat, times_of
from .zone_names import zone_meant

SHORTEST, LONGEST = timedelta(minutes=5), timedelta(hours=8)
MOST_LESSONS = 2_000  # of a whole file
NAME_HEX = 40  # of a UID's hash; with a day behind it, it fits its column
LONGEST_WORDS = 200


class CannotRead(ValueError):
    """An event is not taken; ``code`` is one of :mod:`.sentences`, ``what`` it names."""

    def __init__(self, code: str, what: str = "") -> None:
        super().__init__(code)
        self.code, self.what = code, what


@dataclass(frozen=True, slots=True)
class Clock:
    """By which clock an event is meant: a zone's, UTC, or the reader's where none was named."""

    zone: str
    is_kept: bool  # whether lessons are planned by it, or by the reader's own
    is_named: bool = True


def lessons_in(data: bytes, *, zone: str, first: date, last: date) -> dict[str, Any]:
    """The rows of a file, for lessons from the day ``first`` to ``last``.

    Raises
    ------
    events.NotACalendar
        Where nothing of it can be used.
    """
    found = events_in(data)
    groups: dict[str, list[Event]] = {}
    for number, lines in enumerate(found.events):
        event = Event.from_ical("\r\n".join(["BEGIN:VEVENT", *lines, "END:VEVENT", ""]))
        uid = _text(event, "UID") or f"{number}:{_text(event, 'SUMMARY')}"
        groups.setdefault(hashlib.sha256(uid.encode()).hexdigest()[:NAME_HEX], []).append(event)
    rows, left = [], MOST_LESSONS
    for uid, events in groups.items():
        row = _row(uid, events, zone, first, last)
        if len(row["lessons"]) > left:
            row |= {"lessons": [], "remarks": [["full", str(MOST_LESSONS)]]}
        left -= len(row["lessons"])
        rows.append(row)
    return {"rows": rows, "breaks_off": found.breaks_off}


def _row(uid: str, events: list[Event], zone: str, first: date, last: date) -> dict[str, Any]:
    masters = [each for each in events if "RECURRENCE-ID" not in each]
    shown = max(masters or events, key=_sequence)
    row = {"uid": uid, "summary": _text(shown, "SUMMARY"), "where": _text(shown, "LOCATION")}
    remarks: list[list[str]] = []
    lessons: dict[str, dict] = {}
    for event in [*([shown] if masters else []), *sorted(_replacing(events), key=_sequence)]:
        try:
            made = _lessons(event, zone, first, last, remarks)
        except CannotRead as error:
            remarks.append([error.code, error.what])
        else:
            lessons |= {each["key"]: each for each in made}
    inside = [
        each for each in lessons.values() if first.isoformat() <= each["day"] <= last.isoformat()
    ]
    if not inside and not remarks:
        remarks.append(["past", ""])
    inside.sort(key=lambda each: (each["day"], each["at"]))
    return row | {"lessons": inside, "remarks": _each_once(remarks)}


def _replacing(events: Iterable[Event]) -> list[Event]:
    return [each for each in events if "RECURRENCE-ID" in each]


def _lessons(event: Event, zone: str, first: date, last: date, remarks: list) -> list[dict]:
    begins, clock = _start(event, zone)
    minutes = _minutes(event, begins, clock, zone)
    if not clock.is_named:
        remarks.append(["no_zone", zone])
    if "RECURRENCE-ID" in event:
        if event["RECURRENCE-ID"].params.get("RANGE"):
            remarks.append(["range", ""])
        replaced = _wall(event["RECURRENCE-ID"].dt, event["RECURRENCE-ID"], clock, zone)
        times, keys = [begins], [_day_of(replaced).isoformat()]
    else:
        times = _times(event, begins, clock, zone, first, last)
        repeats = any(name in event for name in ("RRULE", "RDATE"))
        keys = [each.date().isoformat() if repeats else "" for each in times]
    said = {
        "minutes": minutes,
        "where": _text(event, "LOCATION"),
        "cancelled": _text(event, "STATUS").upper() == "CANCELLED",
    }
    return [
        {"key": key, **_by_clock(each, clock, zone), **said}
        for key, each in zip(keys, times, strict=True)
    ]


def _times(
    event: Event, begins: datetime, clock: Clock, zone: str, first: date, last: date
) -> list[datetime]:
    if "EXRULE" in event or isinstance(event.get("RRULE"), list):
        raise CannotRead("rule")
    rule, until = _rule(event, clock)
    # A day more at both ends: a reader's day may be another than the event's own.
    span = {"first": first - timedelta(days=1), "last": last + timedelta(days=1)}
    extra = [each for each in _listed(event, "RDATE", clock, zone) if isinstance(each, datetime)]
    without = _listed(event, "EXDATE", clock, zone)
    try:
        return times_of(begins, rule, until, extra, without, **span)
    except CannotRepeat as error:
        raise CannotRead(str(error)) from error


def _rule(event: Event, clock: Clock) -> tuple[dict[str, str] | None, datetime | None]:
    """The parts of RRULE as text without UNTIL, which comes by the event's own clock."""
    if "RRULE" not in event:
        return None, None
    said = event["RRULE"].to_ical().decode()
    rule = dict(part.split("=", 1) for part in said.upper().split(";") if "=" in part)
    rule.pop("UNTIL", None)
    ends = event["RRULE"].get("UNTIL") or [None]
    end = ends[0]
    if isinstance(end, datetime):
        aware = end.tzinfo is not None
        end = end.astimezone(ZoneInfo(clock.zone)).replace(tzinfo=None) if aware else end
    elif isinstance(end, date):
        end = datetime.combine(end, time(23, 59, 59))
    return rule, end


def _start(event: Event, zone: str) -> tuple[datetime, Clock]:
    """DTSTART by its own clock, and which clock that is."""
    _must_be_whole(event)
    begins = event["DTSTART"].dt
    if not isinstance(begins, datetime):
        raise CannotRead("all_day")
    clock = _clock(begins, event["DTSTART"], zone)
    return begins.replace(tzinfo=None), clock


def _must_be_whole(event: Event) -> None:
    broken = {name.upper() for name, _why in event.errors} - {"SEQUENCE"}
    if broken or isinstance(event.get("DTSTART"), (list, type(None))):
        raise CannotRead("malformed", ", ".join(sorted(broken)) or "DTSTART")


def _clock(when: datetime, said: Any, zone: str) -> Clock:
    name = str(said.params.get("TZID") or "")
    if name:
        meant = zone_meant(name)
        if meant is None:
            raise CannotRead("unknown_zone", name[:60])
        return Clock(meant, is_kept=meant not in ("UTC", "Etc/UTC"))
    if when.tzinfo is not None:
        return Clock("UTC", is_kept=False)
    return Clock(zone, is_kept=False, is_named=False)


def _minutes(event: Event, begins: datetime, clock: Clock, zone: str) -> int:
    if "DTEND" in event and isinstance(getattr(event["DTEND"], "dt", None), datetime):
        end = event["DTEND"]
        ends = end.dt.replace(tzinfo=None)
        lasts = _aware(ends, _clock(end.dt, end, zone)) - _aware(begins, clock)
    elif "DURATION" in event and isinstance(getattr(event["DURATION"], "dt", None), timedelta):
        lasts = event["DURATION"].dt
    else:
        raise CannotRead("no_end")
    if not SHORTEST <= lasts <= LONGEST:
        raise CannotRead("length")
    return round(lasts / timedelta(minutes=1))


def _listed(event: Event, name: str, clock: Clock, zone: str) -> list[datetime | date]:
    """The days and times of RDATE or EXDATE, by the event's own clock."""
    lines = event.get(name) or []
    found = []
    for line in lines if isinstance(lines, list) else [lines]:
        for each in line.dts:
            when = each.dt[0] if isinstance(each.dt, tuple) else each.dt
            found.append(_wall(when, line, clock, zone))
    return found


def _wall(when: Any, said: Any, clock: Clock, zone: str) -> datetime | date:
    """A day or time of the file by the event's own clock."""
    if not isinstance(when, datetime):
        return when
    own = _clock(when, said, zone)
    there = _aware(when.replace(tzinfo=None), own).astimezone(ZoneInfo(clock.zone))
    return there.replace(tzinfo=None)


def _aware(when: datetime, clock: Clock) -> datetime:
    return when.replace(tzinfo=ZoneInfo(clock.zone), fold=0).astimezone(UTC)


def _by_clock(when: datetime, clock: Clock, zone: str) -> dict[str, str]:
    """Day and time as they are planned: by the event's own zone, or else by the reader's."""
    if not clock.is_kept:
        when = _aware(when, clock).astimezone(ZoneInfo(zone))
    kept = clock.zone if clock.is_kept else zone
    return {"day": when.date().isoformat(), "at": when.time().isoformat("minutes"), "zone": kept}


def _day_of(when: datetime | date) -> date:
    return when.date() if isinstance(when, datetime) else when


def _text(event: Event, name: str) -> str:
    value = event.get(name, "")
    said = value[0] if isinstance(value, list) else value
    return " ".join(str(said).split())[:LONGEST_WORDS]


def _sequence(event: Event) -> int:
    try:
        return int(event.get("SEQUENCE", 0))
    except (TypeError, ValueError, AttributeError):
        return 0


def _each_once(remarks: list[list[str]]) -> list[list[str]]:
    return [list(each) for each in dict.fromkeys(map(tuple, remarks))]

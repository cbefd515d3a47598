"""A calendar's file (iCalendar, RFC 5545) taken apart into the lines of its events.

Only what is read later is kept of each event, so that a broken line spoils no other event and a
long description costs nothing. Pure: the standard library alone.
"""

import re
from dataclasses import dataclass

MOST_BYTES = 1_000_000
MOST_EVENTS = 2_000
DEEPEST = 8  # BEGIN in BEGIN; RFC 5545 needs three
MOST_LINES = 400  # of one event that are read
LONGEST_LINE = 8_000  # letters, unfolded; an EXDATE of a year of days takes as many

READ = frozenset(
    (
        *("UID", "DTSTART", "DTEND", "DURATION", "RRULE", "RDATE", "EXDATE", "EXRULE"),
        *("RECURRENCE-ID", "SUMMARY", "LOCATION", "STATUS", "SEQUENCE"),
    )
)
_FOLD = re.compile(r"\n[ \t]")  # RFC 5545, 3.1
_NAME = re.compile(r"[A-Za-z0-9-]+")


class NotACalendar(ValueError):
    """Nothing of the file can be used; its text is a code of :mod:`.sentences`."""


@dataclass(frozen=True, slots=True)
class Found:
    """The lines of each event, in the file's order; whether the file breaks off inside one."""

    events: tuple[tuple[str, ...], ...]
    breaks_off: bool


def events_in(data: bytes) -> Found:
    """The events of a file.

    Lines may end with CRLF, LF or CR, and a byte order mark may stand first. What is not UTF-8 is
    read as Windows-1252, which older programs write (common practice, no source).

    Raises
    ------
    NotACalendar
        ``too_large``, ``damaged`` (NUL bytes), ``not_a_calendar``, ``too_deep``, ``too_many``.
    """
    if len(data) > MOST_BYTES:
        raise NotACalendar("too_large")
    if b"\0" in data:
        raise NotACalendar("damaged")
    lines = _unfolded(data)
    if next((line for line in lines if line), "").upper() != "BEGIN:VCALENDAR":
        raise NotACalendar("not_a_calendar")
    return _taken_apart(lines)


def _unfolded(data: bytes) -> list[str]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return [line.strip() for line in _FOLD.sub("", text).split("\n")]


def _taken_apart(lines: list[str]) -> Found:
    events: list[tuple[str, ...]] = []
    open_now: list[str] = []
    event: list[str] = []
    for line in lines:
        word, _colon, rest = line.partition(":")
        word, rest = word.upper(), rest.strip().upper()
        if word == "BEGIN":
            open_now.append(rest)
            if len(open_now) > DEEPEST:
                raise NotACalendar("too_deep")
            if rest == "VEVENT":
                event = []
        elif word == "END" and open_now and open_now[-1] == rest:
            if open_now.pop() == "VEVENT":
                events.append(tuple(event))
                if len(events) > MOST_EVENTS:
                    raise NotACalendar("too_many")
        elif open_now[-1:] == ["VEVENT"] and _is_read(line) and len(event) < MOST_LINES:
            event.append(line)
    return Found(tuple(events), breaks_off="VEVENT" in open_now)


def _is_read(line: str) -> bool:
    name = _NAME.match(line)
    return bool(name) and name[0].upper() in READ and len(line) <= LONGEST_LINE

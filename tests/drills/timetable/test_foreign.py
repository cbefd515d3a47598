"""Calendars' files: what is read of them, what is refused, and that nothing of them runs away.

Examples of RFC 5545 are its own (sections 3.8.5.3 and 4). ``by-*.ics`` were written by the
libraries vobject 0.9.9 and ics 0.7.3; ``windows-zones.ics`` is in the manner of programs that name
Windows' zones: a byte order mark, folds with tabs, quoted TZID, an alarm within the event.
"""

from datetime import date, datetime
from pathlib import Path

import pytest

from studio.drills.timetable.foreign import events, work
from studio.drills.timetable.foreign.events import NotACalendar
from studio.drills.timetable.foreign.reading import lessons_in
from studio.drills.timetable.foreign.zone_names import zone_meant
from tests.drills.timetable.calendars import calendar

HERE = Path(__file__).parent
NEW_YORK = "America/New_York"


def read(data: bytes, first=date(2027, 1, 1), last=date(2027, 12, 31), zone="Europe/Berlin"):
    return lessons_in(data, zone=zone, first=first, last=last)["rows"]


def times(row) -> list[str]:
    return [f"{one['day']} {one['at']}" for one in row["lessons"]]


def codes(row) -> list[str]:
    return [code for code, _what in row["remarks"]]


# -- RFC 5545's own examples -------------------------------------------------------------------

STARTS = "19970902T090000"
RULES = [
    (STARTS, "FREQ=WEEKLY;COUNT=10", "9/2 9/9 9/16 9/23 9/30 10/7 10/14 10/21 10/28 11/4"),
    (
        STARTS,
        "FREQ=WEEKLY;UNTIL=19971007T000000Z;WKST=SU;BYDAY=TU,TH",
        "9/2 9/4 9/9 9/11 9/16 9/18 9/23 9/25 9/30 10/2",
    ),
    (STARTS, "FREQ=DAILY;INTERVAL=10;COUNT=5", "9/2 9/12 9/22 10/2 10/12"),
    (
        STARTS,
        "FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH",
        "9/2 9/4 9/16 9/18 9/30 10/2 10/14 10/16",
    ),
    ("19970905T090000", "FREQ=MONTHLY;COUNT=10;BYDAY=1FR", "9/5 10/3 11/7 12/5"),
    ("19970904T090000", "FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3", "9/4 10/7 11/6"),
    ("19970929T090000", "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2", "9/29 10/30 11/27 12/30"),
    ("19970805T090000", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO", "8/5 8/10 8/19 8/24"),
    ("19970805T090000", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU", "8/5 8/17 8/19 8/31"),
    ("19970512T090000", "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO", "5/12"),
    ("19970101T090000", "FREQ=YEARLY;INTERVAL=3;COUNT=10;BYYEARDAY=1,100,200", "1/1 4/10 7/19"),
]  # fmt: skip


@pytest.mark.parametrize(("begins", "rule", "days"), RULES)
def test_the_standards_rules_give_its_days_at_nine_in_new_york(begins, rule, days):
    lines = f"UID:a\nDTSTART;TZID={NEW_YORK}:{begins}\nDURATION:PT1H\nRRULE:{rule}"
    (row,) = read(calendar(lines), date(1997, 1, 1), date(1997, 12, 31))
    found = [datetime.fromisoformat(one["day"]) for one in row["lessons"]]
    assert " ".join(f"{day.month}/{day.day}" for day in found) == days
    assert {(one["at"], one["zone"]) for one in row["lessons"]} == {("09:00", NEW_YORK)}


def test_the_standards_friday_the_thirteenth_without_its_first_day():
    lines = (
        f"UID:a\nDTSTART;TZID={NEW_YORK}:{STARTS}\nDURATION:PT1H\n"
        f"EXDATE;TZID={NEW_YORK}:{STARTS}\nRRULE:FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13"
    )
    (row,) = read(calendar(lines), date(1997, 1, 1), date(2000, 12, 31))
    days = ["1998-02-13", "1998-03-13", "1998-11-13", "1999-08-13", "2000-10-13"]
    assert [one["day"] for one in row["lessons"]] == days


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=HOURLY;INTERVAL=3;UNTIL=19970902T170000Z",
        "FREQ=MINUTELY;INTERVAL=15;COUNT=6",
        "FREQ=DAILY;BYHOUR=9,10,11,12,13,14,15,16;BYMINUTE=0,20,40",
    ],
)
def test_what_repeats_within_a_day_is_no_lesson(rule):
    lines = f"UID:a\nDTSTART;TZID={NEW_YORK}:{STARTS}\nDURATION:PT1H\nRRULE:{rule}"
    (row,) = read(calendar(lines), date(1997, 1, 1), date(1997, 12, 31))
    assert (row["lessons"], codes(row)) == ([], ["too_often"])


MEETING = f"""DTSTAMP:19980309T231000Z
UID:guid-1.example.com
ORGANIZER:mailto:mrbig@example.com
ATTENDEE;RSVP=TRUE;ROLE=REQ-PARTICIPANT;CUTYPE=GROUP:
 mailto:employee-A@example.com
DESCRIPTION:Project XYZ Review Meeting
CATEGORIES:MEETING
CLASS:PUBLIC
CREATED:19980309T130000Z
SUMMARY:XYZ Project Review
DTSTART;TZID={NEW_YORK}:19980312T083000
DTEND;TZID={NEW_YORK}:19980312T093000
LOCATION:1CP Conference Room 4350"""
CONFERENCE = """DTSTAMP:19960704T120000Z
UID:uid1@example.com
DTSTART:19960918T143000Z
DTEND:19960920T220000Z
STATUS:CONFIRMED
SUMMARY:Networld+Interop Conference
DESCRIPTION:Networld+Interop Conference
  and Exhibit\\nAtlanta World Congress Center\\n
 Atlanta\\, Georgia"""


def test_the_standards_meeting_is_an_hour_and_its_conference_too_long():
    rows = read(calendar(MEETING, CONFERENCE), date(1996, 1, 1), date(1998, 12, 31))
    assert (times(rows[0]), rows[0]["summary"]) == (["1998-03-12 08:30"], "XYZ Project Review")
    assert rows[0]["lessons"][0]["minutes"] == 60
    assert rows[0]["where"] == "1CP Conference Room 4350"
    assert codes(rows[1]) == ["length"]


# -- as other libraries and programs write -----------------------------------------------------


def test_a_series_with_a_day_left_out_and_one_moved_as_vobject_writes_it():
    weekly, free = read((HERE / "by-vobject.ics").read_bytes())
    assert times(weekly) == ["2027-03-16 16:00", "2027-03-31 17:30", "2027-04-06 16:00"]
    assert [one["key"] for one in weekly["lessons"]] == ["2027-03-16", "2027-03-30", "2027-04-06"]
    assert weekly["summary"].endswith("the slow shifting exercise; bring the rest")
    assert weekly["where"] == "Room 2, second floor; door code 4711"
    assert codes(free) == ["all_day"]


def test_a_moment_in_utc_as_ics_writes_it_is_planned_by_the_readers_clock():
    (row,) = read((HERE / "by-ics-py.ics").read_bytes())
    (lesson,) = row["lessons"]
    assert (lesson["at"], lesson["zone"], lesson["minutes"]) == ("15:00", "Europe/Berlin", 60)


def test_windows_names_marks_tabs_and_alarms():
    """UNTIL is in UTC and its last lesson, after the clocks changed, is the last one."""
    (row,) = read((HERE / "windows-zones.ics").read_bytes())
    assert times(row) == ["2027-03-23 16:30", "2027-03-30 16:30", "2027-04-06 16:30"]
    assert {one["zone"] for one in row["lessons"]} == {"Europe/Berlin"}
    assert (row["summary"], row["where"]) == ("Geige Jonas", "Übungsraum am Hof")


@pytest.mark.parametrize("end", ["\n", "\r", "\r\n"])
def test_lines_end_as_they_like(end):
    data = calendar(f"UID:a\nDTSTART;TZID={NEW_YORK}:20270302T090000\nDURATION:PT45M")
    (row,) = read(data.replace(b"\r\n", end.encode()))
    assert times(row) == ["2027-03-02 09:00"]


def test_zones_by_their_names():
    """CLDR's windowsZones.xml, its territory 001."""
    assert zone_meant("Eastern Standard Time") == NEW_YORK
    assert zone_meant("GMT Standard Time") == "Europe/London"
    assert zone_meant("/example.org/2005_1/America/Argentina/Buenos_Aires") == (
        "America/Argentina/Buenos_Aires"
    )
    assert zone_meant("../../etc/passwd") is zone_meant("") is zone_meant("My zone") is None


@pytest.mark.parametrize(
    ("lines", "code"),
    [
        ("DTSTART;VALUE=DATE:20270302\nDTEND;VALUE=DATE:20270303", "all_day"),
        ("DTSTART:20270302T090000Z", "no_end"),
        ("DTSTART;TZID=My zone:20270302T090000\nDURATION:PT1H", "unknown_zone"),
        ("DTSTART:2027-03-02 nine\nDURATION:PT1H", "malformed"),
        ("DURATION:PT1H", "malformed"),
        ("DTSTART:20270302T090000Z\nDURATION:PT1H\nRRULE:FREQ=SOMETIMES", "malformed"),
        ("DTSTART:20270302T090000Z\nDURATION:PT1H\nRRULE:FREQ=DAILY;INTERVAL=0", "rule"),
        ("DTSTART:20270302T090000Z\nDTEND:20270302T080000Z", "length"),
        ("DTSTART:20260302T090000Z\nDURATION:PT1H", "past"),
        ("DTSTART:00010101T000000Z\nDURATION:PT1H\nRRULE:FREQ=DAILY", "rule"),
    ],
)
def test_what_is_not_taken_is_said_and_spoils_no_other(lines, code):
    good = "UID:good\nDTSTART:20270302T090000Z\nDURATION:PT1H"
    bad, other = read(calendar(f"UID:bad\n{lines}", good))
    assert (bad["lessons"], code in codes(bad)) == ([], True)
    assert len(other["lessons"]) == 1


def test_a_time_without_a_zone_is_the_readers_and_that_is_said():
    (row,) = read(calendar("UID:a\nDTSTART:20270302T090000\nDURATION:PT1H"))
    assert (times(row), codes(row)) == (["2027-03-02 09:00"], ["no_zone"])


# -- hostile -----------------------------------------------------------------------------------

DEEP = b"BEGIN:VCALENDAR\n" + b"BEGIN:VEVENT\n" * 10_000
ONE = b"BEGIN:VEVENT\nUID:%d\nEND:VEVENT\n"


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"BEGIN:VCALENDAR\n" + b"x" * 10_000_000, "too_large"),
        (b"BEGIN:VCALENDAR\nBEGIN:VEVENT\nUID:\0\nEND:VEVENT\nEND:VCALENDAR\n", "damaged"),
        (b"\x89PNG\r\n\x1a\n", "not_a_calendar"),
        (b"", "not_a_calendar"),
        (DEEP, "too_deep"),
        (b"BEGIN:VCALENDAR\n" + b"".join(ONE % n for n in range(2_001)), "too_many"),
    ],
    ids=["10 MB", "NUL", "no calendar", "empty", "deep", "many"],
)
def test_a_file_beyond_its_bounds_is_refused(data, code):
    with pytest.raises(NotACalendar, match=code):
        events.events_in(data)


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=SECONDLY",
        "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=YEARLY;BYSECOND=1,2,3;BYMINUTE=1,2,3;BYHOUR=1,2,3",
        "FREQ=MONTHLY;BYDAY=MO;BYSETPOS=300;COUNT=999999999",
    ],
)
def test_a_rule_without_end_ends(rule):
    (row,) = read(calendar(f"UID:a\nDTSTART:20270302T090000Z\nDURATION:PT1H\nRRULE:{rule}"))
    assert len(row["lessons"]) <= 1


def test_as_many_lessons_as_are_let_in():
    lines = "DTSTART:20270101T090000Z\nDURATION:PT1H\nRRULE:FREQ=DAILY"
    rows = read(calendar(*(f"UID:{number}\n{lines}" for number in range(7))))
    assert [len(row["lessons"]) for row in rows] == [365] * 5 + [0] * 2
    assert codes(rows[-1]) == ["full"]


def test_a_file_is_read_by_a_child_with_bounds(monkeypatch):
    data = (HERE / "windows-zones.ics").read_bytes()
    days = (date(2027, 1, 1), date(2027, 12, 31))
    assert len(work.read(data, "UTC", *days)["rows"]) == 1
    with pytest.raises(NotACalendar, match="damaged"):
        work.read(b"\0", "UTC", *days)
    monkeypatch.setattr(work, "LONGEST_S", 0.01)
    with pytest.raises(NotACalendar, match="too_long"):
        work.read(data, "UTC", *days)

"""The calendar at an address of one's own: what is in it for whom, and that calendars can read it.

Checked by rules of RFC 5545 (sections are named) on the bytes themselves, and by the reader of the
library ``icalendar``, which is another part of it than its writer.
"""

import re
from datetime import UTC, date, timedelta
from urllib.parse import urlsplit

import pytest
from django.test import Client
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from icalendar import Calendar

from studio import log_lines
from studio.accounts import calendar_feeds
from studio.accounts.models import CalendarFeed, Consent, Enrolment, Person
from studio.drills import calendar, services
from studio.drills.models import Assignment
from studio.drills.rotation import services as rotation
from studio.drills.rotation.plan import Holiday
from tests.cast import as_person, guard, make_drill, set_for

IN_A_WEEK = timezone.localdate() + timedelta(days=7)


@pytest.fixture
def due(cast) -> Assignment:
    return set_for(cast.enrolment, make_drill(cast.teacher, cast.studio), due_on=IN_A_WEEK)


def address_of(person) -> str:
    return urlsplit(calendar_feeds.make(person)).path


def asked(person):
    return Client().get(address_of(person))


def events(person) -> list:
    return list(Calendar.from_ical(asked(person).content).walk("VEVENT"))


def summaries(person) -> list[str]:
    return [str(event["SUMMARY"]) for event in events(person)]


# -- the format --------------------------------------------------------------------------------


def complaints(raw: bytes) -> list[str]:
    """What RFC 5545 does not allow in a file of ours, each with its section."""
    found = []
    lines = raw.split(b"\r\n")
    if lines[-1] != b"" or b"\n" in raw.replace(b"\r\n", b"") or b"\r" in raw.replace(b"\r\n", b""):
        found.append("3.1: lines end with CRLF")
    found += [f"3.1: {len(line)} octets" for line in lines if len(line) > 75]
    unfolded = raw.replace(b"\r\n ", b"").decode("utf-8").split("\r\n")[:-1]
    names = [re.match(r"[A-Z0-9-]+(?=[;:])", line) for line in unfolded]
    found += [f"3.1: {line!r}" for line, name in zip(unfolded, names, strict=True) if not name]
    if (unfolded[:1], unfolded[-1:]) != (["BEGIN:VCALENDAR"], ["END:VCALENDAR"]):
        found.append("3.4: one calendar")
    for once in ("PRODID", "VERSION"):
        if sum(line.startswith(f"{once}:") for line in unfolded) != 1:
            found.append(f"3.6: {once} once")
    if not any(line.startswith("BEGIN:") for line in unfolded[1:]):
        found.append("3.6: at least one component")
    blocks = "\n".join(unfolded).split("BEGIN:VEVENT\n")[1:]
    for block in blocks:
        for once in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "SEQUENCE"):
            if len(re.findall(rf"^{once}[;:]", block, re.MULTILINE)) != 1:
                found.append(f"3.6.1: {once} once")
        if not re.search(r"^DTSTAMP:\d{8}T\d{6}Z$", block, re.MULTILINE):
            found.append("3.8.7.2: DTSTAMP in UTC")
        if not re.search(r"^DTSTART;VALUE=DATE:\d{8}$", block, re.MULTILINE):
            found.append("3.8.2.4: a day has VALUE=DATE")
    uids = [line for line in unfolded if line.startswith("UID:")]
    return found + (["3.8.4.7: a UID twice"] if len(uids) != len(set(uids)) else [])


def test_a_calendar_is_as_the_standard_asks(cast, due):
    rotation.begin(cast.enrolment, cast.teacher, timezone.localdate())
    answer = asked(cast.guardian)
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"  # RFC 5545, 8.1
    assert complaints(answer.content) == []
    assert complaints(answer.content.replace(b"\r\n", b"\n")) != []
    long_line = b"SUMMARY:" + 75 * b"x"
    assert complaints(answer.content.replace(b"SUMMARY:", long_line, 1)) != []
    assert len(Calendar.from_ical(answer.content).walk("VEVENT")) == 27 + 1


AWKWARD = st.text(
    st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"]), min_size=1, max_size=120
).filter(str.strip)


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(AWKWARD)
def test_any_title_comes_out_as_it_went_in(title):
    """Section 3.3.11 (escapes) and 3.1 (folding between octets of one letter, too)."""
    day = calendar.Day("one", date(2026, 3, 2), title, timezone.now())
    whole = Calendar()
    whole.add("prodid", calendar.PRODUCT)
    whole.add("version", "2.0")
    whole.add_component(calendar._event(day))
    raw = whole.to_ical()
    assert complaints(raw) == []
    (event,) = Calendar.from_ical(raw).walk("VEVENT")
    assert str(event["SUMMARY"]) == title


def test_a_day_is_a_whole_day_and_takes_no_time_away(cast, due):
    """Sections 3.6.1 and 3.8.2.7."""
    (event,) = events(cast.pupil)
    assert (event["DTSTART"].dt, event["DTEND"].dt) == (IN_A_WEEK, IN_A_WEEK + timedelta(days=1))
    assert event["TRANSP"] == "TRANSPARENT"
    assert event["DTSTAMP"].dt == event["LAST-MODIFIED"].dt == _to_the_second(due.published_at)


def test_the_same_thing_keeps_its_name_and_a_changed_day_is_a_later_revision(cast, due):
    """Sections 3.8.4.7, 3.8.7.3 and 3.8.7.4."""
    (before,) = events(cast.pupil)
    Assignment.objects.update(set_at=due.set_at - timedelta(days=1), published_at=due.set_at)
    services.set_drill_now(due.version, cast.enrolment, cast.teacher, due_on=IN_A_WEEK)
    Assignment.objects.update(changed_at=due.set_at + timedelta(hours=1))
    (after,) = events(cast.pupil)
    assert (before["UID"], before["SEQUENCE"]) == (after["UID"], 0)
    assert after["SEQUENCE"] == 3600
    assert after["LAST-MODIFIED"].dt > before["LAST-MODIFIED"].dt
    (hers,) = events(cast.guardian)
    assert hers["UID"] == after["UID"]


def _to_the_second(moment):
    return moment.astimezone(UTC).replace(microsecond=0)


# -- for whom ----------------------------------------------------------------------------------


def test_each_sees_her_own_her_childrens_or_her_pupils(cast, due):
    rotation.begin(cast.enrolment, cast.teacher, IN_A_WEEK, every_weeks=4)
    drill = make_drill(cast.teacher, cast.studio, "Sixths; slowly, again")
    set_for(cast.other_enrolment, drill, due_on=IN_A_WEEK)
    assert set(summaries(cast.pupil)) == {"Ready by today: Octaves, slowly", "Lesson"}
    assert set(summaries(cast.guardian)) == {
        "Ready by today: Octaves, slowly (Mira)",
        "Lesson (Mira)",
    }
    assert set(summaries(cast.teacher)) == {
        "Ready by today: Octaves, slowly (Mira)",
        "Ready by today: Sixths; slowly, again (Jonas)",
        "Lesson (Mira)",
    }
    for nobody in (cast.colleague, cast.unlinked_guardian, cast.former_pupil, cast.operator):
        assert summaries(nobody) == []
        assert complaints(asked(nobody).content) == []


def test_nothing_else_of_anybody_is_in_it(cast, due):
    Assignment.objects.update(goal="Without the sore thumb")
    said = asked(cast.teacher).content.decode()
    for word in ("Sandholm", "thumb", "Hold each one", cast.pupil.email, "Larkhill"):
        assert word not in said


@pytest.mark.parametrize("end", ["consent", "place", "done", "not seen yet", "long ago"])
def test_what_is_over_is_there_no_more(cast, due, end):
    if end == "consent":
        Consent.objects.filter(pupil=cast.pupil).update(
            withdrawn_at=timezone.now(), withdrawn_by=cast.guardian
        )
    elif end == "place":
        today = timezone.localdate()
        Enrolment.objects.filter(pk=cast.enrolment.pk).update(
            started_on=today - timedelta(days=1), ended_on=today
        )
    elif end == "done":
        services.tick_off(due)
    elif end == "not seen yet":
        Assignment.objects.update(published_at=timezone.now() + timedelta(hours=1))
    else:
        Assignment.objects.update(due_on=timezone.localdate() - calendar.BEHIND - timedelta(days=1))
    assert [summaries(who) for who in (cast.pupil, cast.guardian, cast.teacher)] == [[], [], []]


def test_lessons_are_those_of_the_plan_without_its_holidays(cast):
    plan = rotation.begin(cast.enrolment, cast.teacher, IN_A_WEEK)
    away = IN_A_WEEK + timedelta(days=14)
    rotation.add_holiday(plan, cast.teacher, Holiday(away, away + timedelta(days=7)), seen=1)
    days = [event["DTSTART"].dt for event in events(cast.pupil)]
    assert days[:3] == [IN_A_WEEK + timedelta(days=7 * week) for week in (0, 1, 4)]
    assert max(days) <= timezone.localdate() + calendar.AHEAD


def test_queries_do_not_grow_with_children_and_dates(cast, due, django_assert_max_num_queries):
    for number in range(4):
        set_for(cast.other_enrolment, due.version.drill, due_on=IN_A_WEEK + timedelta(days=number))
    guard(cast.guardian, cast.other_pupil, cast.studio)
    rotation.begin(cast.enrolment, cast.teacher, IN_A_WEEK)
    rotation.begin(cast.other_enrolment, cast.teacher, IN_A_WEEK)
    with django_assert_max_num_queries(5):
        assert calendar.calendar_of(cast.teacher).count(b"BEGIN:VEVENT") > 40


# -- the address -------------------------------------------------------------------------------


def test_an_address_is_random_kept_as_a_hash_and_shown_once(cast):
    pages = [as_person(cast.pupil).post("/account/calendar/").text for _ in range(2)]
    secrets = [re.search(r"/calendar-feed/([\w-]+)\.ics", page)[1] for page in pages]
    assert secrets[0] != secrets[1]
    assert len(secrets[1]) * 6 >= 256 - 6  # bits: each letter of base64url holds six
    assert secrets[1] not in str(CalendarFeed.objects.values().get())
    assert secrets[1] not in as_person(cast.pupil).get("/account/telling/").text
    found = [Client().get(f"/calendar-feed/{one}.ics").status_code for one in secrets]
    assert found == [404, 200], "a new one ends the one before"


def test_a_revoked_address_and_one_of_a_closed_account_open_nothing(cast):
    mine, hers = address_of(cast.pupil), address_of(cast.guardian)
    as_person(cast.pupil).post("/account/calendar/end/")
    Person.objects.filter(pk=cast.guardian.pk).update(is_active=False)
    assert [Client().get(one).status_code for one in (mine, hers)] == [404, 404]


def test_what_a_program_has_already_is_not_sent_again(cast, due):
    """RFC 9110, sections 8.8.3 and 13.1.2."""
    where = address_of(cast.pupil)
    first = Client().get(where)
    assert first["Cache-Control"] == "private, no-cache"
    for had in (first["ETag"], f'"other", W/{first["ETag"]}', "*"):
        again = Client().get(where, headers={"If-None-Match": had})
        assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])
    services.tick_off(due)
    assert Client().get(where, headers={"If-None-Match": first["ETag"]}).status_code == 200


def test_who_asks_without_end_has_to_wait(cast):
    where = address_of(cast.pupil)
    CalendarFeed.objects.update(reads=calendar_feeds.READS_AN_HOUR - 1)
    assert Client().get(where).status_code == 200
    refused = Client().get(where)
    assert (refused.status_code, refused["Retry-After"]) == (429, "3600")
    CalendarFeed.objects.update(hour_began_at=timezone.now() - calendar_feeds.HOUR)
    assert Client().get(where).status_code == 200
    wrong = [Client().get("/calendar-feed/none.ics").status_code for _ in range(32)]
    assert (wrong[0], wrong[-1]) == (404, 429)
    assert Client().get(where).status_code == 200, "a right one never waits for wrong ones"


def test_no_log_gets_the_address(cast):
    line = f'"GET {address_of(cast.pupil)} HTTP/1.1" 200'
    assert log_lines.without_secrets(line) == '"GET /calendar-feed/*** HTTP/1.1" 200'

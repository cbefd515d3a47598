"""The week's page, its forms, and the calendar that shows the same."""

from datetime import time, timedelta

import pytest
from django.test import Client
from django.utils import timezone
from icalendar import Calendar

from studio.accounts import calendar_feeds
from studio.accounts.models import NotificationTimes
from studio.drills import calendar
from studio.drills.lessons.models import LessonNote
from studio.drills.models import PlannedLesson
from studio.drills.rotation import services as rotation
from studio.drills.timetable import services
from tests.cast import as_person, plan_lessons

TODAY = timezone.localdate()
TOMORROW = TODAY + timedelta(days=1)
PLANNED = {"at": "16:00", "minutes": "45", "zone": "Europe/Berlin"}


def test_a_week_shows_each_lesson_on_the_readers_day(cast):
    """16:00 in Auckland is the evening before in New York."""
    (lesson,) = plan_lessons(cast.enrolment, zone="Pacific/Auckland")
    NotificationTimes.objects.create(
        person=cast.teacher, quiet_from=21, quiet_until=7, time_zone="America/New_York"
    )
    day = lesson.day - timedelta(days=1)
    answer = as_person(cast.teacher).get(f"/lessons/week/?day={day}")
    (shown,) = [day for day in answer.context["week"].days if day.lessons]
    assert shown.on == day
    assert "16:00 in Pacific/Auckland" in answer.text
    assert answer.context["week"].monday.weekday() == 0


def test_weeks_follow_each_other_and_an_odd_day_is_this_week(cast):
    client = as_person(cast.teacher)
    this = client.get("/lessons/week/").context["week"]
    assert client.get(f"/lessons/week/?day={this.after}").context["week"].before == this.monday
    for odd in ("never", "9999-12-31", "2027-02-30", ""):
        assert client.get(f"/lessons/week/?day={odd}").context["week"].monday == this.monday


def test_planned_by_the_form_and_what_is_at_the_same_time_is_said(cast):
    plan_lessons(cast.other_enrolment, weeks=2)
    said = PLANNED | {"pupil": cast.enrolment.pk, "day": TOMORROW}
    said |= {"until": TOMORROW + timedelta(days=7), "where": "Room 2"}
    answer = as_person(cast.colleague).post("/lessons/plan/", said, follow=True)
    assert "2 lessons are planned." in answer.text
    assert "At the same time: Jonas Weidegger on" in answer.text
    assert PlannedLesson.objects.filter(enrolment=cast.enrolment).count() == 2


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"until": TODAY}, "before the first lesson"),
        ({"until": TOMORROW + timedelta(weeks=53)}, "more than a year of lessons"),
        ({"day": TODAY + timedelta(days=400), "until": ""}, "more than a year away"),
        ({"minutes": "0"}, "greater than or equal to 5"),
        ({"zone": "Europe/Nowhere"}, "Select a valid choice"),
    ],
)
def test_what_cannot_be_planned_is_said(cast, wrong, sentence):
    said = PLANNED | {"pupil": cast.enrolment.pk, "day": TOMORROW} | wrong
    answer = as_person(cast.teacher).post("/lessons/plan/", said)
    assert answer.status_code == 422
    assert sentence in answer.text
    assert not PlannedLesson.objects.exists()


def test_nobody_plans_for_a_pupil_of_another_studio(cast):
    said = PLANNED | {"pupil": cast.foreign_enrolment.pk, "day": TOMORROW}
    assert as_person(cast.teacher).post("/lessons/plan/", said).status_code == 422
    assert not PlannedLesson.objects.exists()


def test_of_two_teachers_who_move_a_lesson_the_second_is_told(cast):
    (lesson,) = plan_lessons(cast.enrolment)
    services.cancel(lesson, cast.colleague, seen=0, following=False)
    said = PLANNED | {"day": TOMORROW, "sequence": "0"}
    for address in ("", "cancel/"):
        more = {"whether": "one"} if address else {}
        answer = as_person(cast.teacher).post(
            f"/lessons/planned/{lesson.pk}/{address}", said | more
        )
        assert answer.status_code == 409
        assert "Somebody else has changed this lesson" in answer.text


def test_one_press_leads_to_the_note_of_that_lesson(cast):
    yesterday = TODAY - timedelta(days=1)
    plan_lessons(cast.enrolment, day=yesterday)
    client, week = as_person(cast.teacher), f"/lessons/week/?day={yesterday}"
    where = f"/pupils/{cast.enrolment.pk}/lessons/"
    assert f'href="{where}?day={yesterday}"' in client.get(week).text
    assert f'value="{yesterday}"' in client.get(f"{where}?day={yesterday}").text
    assert f'value="{TODAY}"' in client.get(f"{where}?day={TOMORROW}").text, "still to come"
    note = LessonNote.objects.create(
        enrolment=cast.enrolment, author=cast.teacher, held_on=yesterday, text="Bow arm"
    )
    assert f'href="{where}{note.pk}/"' in client.get(week).text


def test_as_many_queries_for_many_lessons(cast, django_assert_num_queries):
    client, week = as_person(cast.teacher), f"/lessons/week/?day={TOMORROW}"
    plan_lessons(cast.enrolment)
    client.get(week)
    with django_assert_num_queries(QUERIES_OF_A_WEEK):
        client.get(week)
    for hour in range(8, 20):
        plan_lessons(cast.other_enrolment, at=time(hour), minutes=90)
    with django_assert_num_queries(QUERIES_OF_A_WEEK):
        client.get(week)


QUERIES_OF_A_WEEK = 8


# -- the calendar ------------------------------------------------------------------------------


def events(person) -> list:
    feed = calendar_feeds.make(person)
    answer = Client().get(f"/calendar-feed/{feed.rpartition('/')[2]}")
    return list(Calendar.from_ical(answer.content).walk("VEVENT"))


def test_a_calendar_has_each_lesson_in_utc_with_its_own_name(cast):
    """RFC 5545: 3.8.4.7 (UID), 3.8.7.2 (DTSTAMP), 3.3.5 (UTC), 3.8.1.11 (STATUS)."""
    lessons = plan_lessons(cast.enrolment, weeks=3, where="a link that opens a room")
    plan_lessons(cast.other_enrolment)
    hers = events(cast.teacher)
    assert len({event["UID"] for event in hers}) == len(hers) == 4
    assert {str(event["SUMMARY"]) for event in hers} == {"Lesson (Mira)", "Lesson (Jonas)"}
    mine = events(cast.pupil)
    assert [event["DTSTART"].dt for event in mine] == [one.begins_at for one in lessons]
    assert [event["DTEND"].dt for event in mine] == [one.ends_at for one in lessons]
    assert {event["UID"] for event in mine} < {event["UID"] for event in hers}
    assert {event["STATUS"] for event in mine} == {"CONFIRMED"}
    assert all(len(line) <= 75 for line in calendar.calendar_of(cast.pupil).split(b"\r\n"))
    assert b"a link" not in calendar.calendar_of(cast.teacher)


def test_a_change_is_a_later_revision_of_the_same_event(cast):
    """RFC 5545: 3.8.7.4 (SEQUENCE)."""
    lesson = plan_lessons(cast.enrolment, weeks=2)[0]
    (before, other) = events(cast.guardian)
    to = services.When(lesson.day, time(18), lesson.zone, 45)
    services.move(lesson, cast.teacher, to, seen=0, following=False)
    services.cancel(lesson, cast.teacher, seen=1, following=False)
    (after, same) = events(cast.guardian)
    assert (before["UID"], before["SEQUENCE"]) == (after["UID"], 0)
    assert (after["SEQUENCE"], after["STATUS"], after["TRANSP"]) == (2, "CANCELLED", "TRANSPARENT")
    assert after["DTSTAMP"].dt >= before["DTSTAMP"].dt
    assert same == other


def test_a_planned_lesson_stands_for_that_day_of_the_plan_of_keys(cast):
    rotation.begin(cast.enrolment, cast.teacher, TOMORROW)
    plan_lessons(cast.enrolment)
    *days, planned = events(cast.pupil)
    assert planned["STATUS"] == "CONFIRMED"
    assert days[0]["DTSTART"].dt == TOMORROW + timedelta(days=7)

"""Planned lessons: the clock they are meant by, what is moved and cancelled, who sees it.

Clocks change by the rules of the IANA time zone database (files ``europe``, ``northamerica`` and
``australasia``): in the European Union at 1:00 UTC on the last Sundays of March and October; in the
United States at 2:00 on the second Sunday of March and the first of November; in Sydney on the
first Sundays of October and April. RFC 5545, 3.3.5 says what times mean that a clock skips, or
shows twice.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from studio.accounts import personal_data
from studio.accounts.models import Enrolment, Notification, NotificationTimes
from studio.drills.models import PlannedLesson
from studio.drills.timetable import access, services
from studio.drills.timetable.clock import moment
from studio.drills.timetable.overlaps import overlaps_among
from studio.drills.timetable.services import When
from tests.cast import as_person, plan_lessons


def hours(lessons) -> list[int]:
    return [lesson.begins_at.hour for lesson in lessons]


@pytest.mark.parametrize(
    ("zone", "sunday", "in_utc"),
    [
        ("Europe/Berlin", date(2027, 3, 28), (15, 14)),
        ("Europe/Berlin", date(2027, 10, 31), (14, 15)),
        ("America/New_York", date(2027, 3, 14), (21, 20)),
        ("America/New_York", date(2027, 11, 7), (20, 21)),
        ("Australia/Sydney", date(2027, 4, 4), (5, 6)),
        ("Australia/Sydney", date(2027, 10, 3), (6, 5)),
        ("Asia/Kolkata", date(2027, 3, 28), (10, 10)),
    ],
)
def test_sixteen_stays_sixteen_when_clocks_change(cast, zone, sunday, in_utc):
    first = sunday - timedelta(days=5)  # the Tuesday before
    lessons = plan_lessons(cast.enrolment, weeks=2, day=first, zone=zone)
    assert tuple(hours(lessons)) == in_utc
    assert {lesson.at for lesson in lessons} == {time(16)}


def test_a_time_that_is_skipped_or_comes_twice_is_as_the_standard_reads_it():
    berlin = "Europe/Berlin"
    assert moment(date(2027, 3, 28), time(2, 30), berlin) == datetime(
        2027, 3, 28, 1, 30, tzinfo=UTC
    )
    assert moment(date(2027, 10, 31), time(2, 30), berlin) == datetime(
        2027, 10, 31, 0, 30, tzinfo=UTC
    )


def test_one_lesson_is_moved_or_this_and_all_that_follow(cast):
    first, second, third, _fourth = plan_lessons(cast.enrolment, weeks=4)
    to = When(second.day + timedelta(days=1), time(17), "Europe/Berlin", 30, "Room 2")
    services.move(second, cast.colleague, to, seen=0, following=False)
    at = PlannedLesson.objects.order_by("number").values_list("day", "at", "sequence")
    assert at[1] == (to.day, time(17), 1)
    assert at[2] == (third.day, time(16), 0)
    third.refresh_from_db()
    on = When(third.day + timedelta(days=2), time(9), "Europe/Berlin", 45)
    services.move(third, cast.teacher, on, seen=0, following=True)
    days = [(day - first.day).days for day, _at, _sequence in at.all()]
    assert days == [0, 8, 16, 23]
    assert [one[1].hour for one in at.all()] == [16, 17, 9, 9]


def test_one_of_a_series_is_cancelled_and_held_after_all(cast):
    lessons = plan_lessons(cast.enrolment, weeks=3)
    services.cancel(lessons[1], cast.teacher, seen=0, following=True)
    states = PlannedLesson.objects.order_by("number")
    assert [one.is_cancelled for one in states] == [False, True, True]
    services.hold_after_all(lessons[1], cast.teacher, seen=1)
    assert [one.is_cancelled for one in states.all()] == [False, False, True]
    with pytest.raises(services.Changed):
        services.cancel(lessons[1], cast.teacher, seen=1, following=False)


def test_one_press_twice_plans_once_and_a_series_is_a_year_at_most(cast):
    day = timezone.localdate()
    when = When(day, time(16), "UTC", 45)
    for _ in range(2):
        services.plan(cast.enrolment, cast.teacher, when, day + timedelta(weeks=2), "k")
    assert PlannedLesson.objects.count() == 3
    for until in (day - timedelta(days=7), day + timedelta(weeks=53)):
        with pytest.raises(ValueError, match="plan 1 to 53"):
            services.plan(cast.enrolment, cast.teacher, when, until)


def test_overlaps_are_of_one_teacher_or_one_pupil_and_not_end_to_end(cast):
    (mine,) = plan_lessons(cast.enrolment)
    (after,) = plan_lessons(cast.other_enrolment, at=time(16, 45))
    (during,) = plan_lessons(cast.other_enrolment, at=time(15), zone="UTC", minutes=120)
    (gone,) = plan_lessons(cast.other_enrolment)
    services.cancel(gone, cast.teacher, seen=0, following=False)
    found = overlaps_among(PlannedLesson.objects.select_related("enrolment"))
    pairs = {frozenset((one, other.pk)) for one, others in found.items() for other in others}
    expected = {frozenset((after.pk, during.pk))}
    if during.begins_at < mine.ends_at:  # 16:00 in Berlin is 15:00 in UTC in winter
        expected.add(frozenset((mine.pk, during.pk)))
    assert pairs == expected
    Enrolment.objects.filter(pk=cast.other_enrolment.pk).update(teacher=cast.colleague)
    assert mine.pk not in overlaps_among(PlannedLesson.objects.select_related("enrolment"))


def test_pupil_and_guardian_are_told_by_their_own_clocks(cast):
    NotificationTimes.objects.create(
        person=cast.guardian, quiet_from=21, quiet_until=7, time_zone="America/New_York"
    )
    lessons = plan_lessons(cast.enrolment, weeks=2)
    services.cancel(lessons[0], cast.teacher, seen=0, following=False)
    told = Notification.objects.filter(kind="lesson").order_by("pk")
    assert {one.to for one in told} == {cast.pupil, cast.guardian}
    hers = [one.what for one in told if one.to == cast.guardian]
    there = f"{lessons[0].begins_at.astimezone(ZoneInfo('America/New_York')):%H:%M}"
    assert hers[0].endswith(f", {there} and 1 more are planned")
    assert hers[1].endswith(f", {there} is cancelled")
    old = plan_lessons(cast.enrolment, day=timezone.localdate() - timedelta(days=3))
    assert not told.filter(key__startswith=f"lesson-{old[0].pk}-").exists()


def test_pupil_and_guardian_read_it_at_home_and_nobody_else(cast):
    (lesson,) = plan_lessons(cast.enrolment, where="by video, room seven")
    NotificationTimes.objects.create(person=cast.guardian, time_zone="America/New_York")
    for who, home in ((cast.pupil, "/queue/"), (cast.guardian, f"/children/{cast.enrolment.pk}/")):
        assert "by video, room seven" in as_person(who).get(home).text
    there = lesson.begins_at.astimezone(ZoneInfo("America/New_York"))
    home = as_person(cast.guardian).get(f"/children/{cast.enrolment.pk}/").text
    assert f"<b>{there:%A} {there.day} {there:%B}, {there:%H:%M}–" in home
    assert "room seven" not in as_person(cast.other_pupil).get("/queue/").text


def test_when_lessons_end_what_was_planned_from_then_on_is_gone(cast):
    plan_lessons(cast.enrolment, weeks=3)
    tomorrow = timezone.localdate() + timedelta(days=1)
    ends = tomorrow + timedelta(days=7)
    Enrolment.objects.filter(pk=cast.enrolment.pk).update(ended_on=ends)
    found = access.taught_between(cast.teacher, tomorrow, tomorrow + timedelta(days=30))
    assert [one.day for one in found] == [tomorrow]
    assert len(access.coming_at_home(cast.enrolment)) == 1


def test_a_copy_holds_the_plan(cast):
    plan_lessons(cast.enrolment, where="Room 2")
    entry = personal_data.answer_of(PlannedLesson)
    (row,) = [entry.export.row(one) for one in entry.exported(cast.pupil, cast.studio)]
    assert (row["where"], row["minutes"]) == ("Room 2", 45)

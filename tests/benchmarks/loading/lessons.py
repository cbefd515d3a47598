"""A year of planned lessons: each pupil of a studio has one a week."""

from datetime import time, timedelta

from django.utils import timezone

from studio.drills.timetable.models import PlannedLesson

from .people import House

WEEKS_BEFORE, WEEKS_AFTER = 26, 26
FIRST_HOUR, HOURS = 13, 8
ZONE = "Europe/Berlin"


def plan_lessons(house: House) -> None:
    """From Monday to Friday, from early afternoon on, one after the other."""
    monday = timezone.localdate() - timedelta(days=timezone.localdate().weekday())
    rows = []
    for number, place in enumerate(house.places):
        at = time(FIRST_HOUR + number // 5 % HOURS, 15 * (number % 4))
        for week in range(-WEEKS_BEFORE, WEEKS_AFTER):
            day = monday + timedelta(weeks=week, days=number % 5)
            rows.append(
                PlannedLesson(
                    enrolment=place,
                    planned_by=place.teacher,
                    day=day,
                    at=at,
                    zone=ZONE,
                    minutes=30,
                )
            )
    PlannedLesson.objects.bulk_create(rows, batch_size=500)

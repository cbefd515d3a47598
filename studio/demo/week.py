"""The demo's week of lessons: one for each pupil every week, and one of them cancelled."""

from datetime import time, timedelta
from uuid import uuid4

from django.utils import timezone

from studio.drills.models import PlannedLesson
from studio.drills.timetable.clock import WEEK, monday_of

from .people import Cast

WEEKS_BEFORE, WEEKS_AHEAD = 2, 10
CANCELLED = 4  # which of the first pupil's
PLACES = ("by video", "Room 2")


def plan(cast: Cast) -> None:
    """Made before anybody reads: nobody is told of them."""
    monday = monday_of(timezone.localdate()) - WEEKS_BEFORE * WEEK
    rows = []
    for number, place in enumerate(cast.places.values()):
        day, series = monday + timedelta(days=number % 5), uuid4()
        rows += [
            PlannedLesson(
                **{"enrolment": place, "planned_by": place.teacher, "day": day + week * WEEK},
                **{
                    "at": time(15 + number % 3, 30),
                    "zone": timezone.get_default_timezone_name(),
                    "minutes": 45,
                },
                **{"where": PLACES[number % len(PLACES)], "series": series, "number": week},
            )
            for week in range(WEEKS_BEFORE + WEEKS_AHEAD)
        ]
    rows[CANCELLED].cancelled_at = timezone.now()
    PlannedLesson.objects.bulk_create(rows)

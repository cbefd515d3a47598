"""The demo's plan of keys under way: four weekly lessons held, a holiday ahead."""

from datetime import timedelta

from django.utils import timezone

from studio.drills.rotation import services
from studio.drills.rotation.models import READINESS, Rotation, RotationLesson
from studio.drills.rotation.plan import Holiday

from .people import Cast

LOGIN = "jonas"
WEEK = timedelta(weeks=1)
HELD = 4


def plan(cast: Cast) -> Rotation:
    """Jonas's plan; his next lesson is in two days."""
    coming = timezone.localdate() + timedelta(days=2)
    rotation = services.begin(cast.places[LOGIN], cast.teacher, coming)
    Rotation.objects.filter(pk=rotation.pk).update(
        readiness=dict.fromkeys(READINESS, (coming - (HELD + 1) * WEEK).isoformat())
    )
    lessons = RotationLesson.objects.filter(round__rotation=rotation, round__number=1)
    for weeks_ago, lesson in zip(range(HELD, 0, -1), lessons, strict=False):
        day = coming - weeks_ago * WEEK
        RotationLesson.objects.filter(pk=lesson.pk).update(major_on=day, minor_on=day)
    free = Holiday(coming + 3 * WEEK, coming + 5 * WEEK - timedelta(days=1))
    services.add_holiday(rotation, cast.teacher, free, seen=rotation.version)
    return rotation

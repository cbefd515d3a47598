"""The demo's plan of keys under way: four weekly lessons held, a holiday ahead."""

from datetime import timedelta

from django.utils import timezone

from studio.drills.rotation import services
from studio.drills.rotation.models import PlannedKey, Rotation, RotationLesson
from studio.drills.rotation.plan import Holiday

from .people import Cast

LOGIN = "jonas"
WEEK = timedelta(weeks=1)
HELD = 4


def plan(cast: Cast) -> Rotation:
    """Jonas's plan; his next lesson is in two days."""
    coming = timezone.localdate() + timedelta(days=2)
    rotation = services.begin(cast.places[LOGIN], cast.teacher, coming)
    before = (coming - (HELD + 1) * WEEK).isoformat()
    ready = [line | {"ticked_on": before} for line in rotation.readiness]
    Rotation.objects.filter(pk=rotation.pk).update(readiness=ready)
    lessons = RotationLesson.objects.filter(round__rotation=rotation, round__number=1)
    for weeks_ago, lesson in zip(range(HELD, 0, -1), lessons, strict=False):
        day = coming - weeks_ago * WEEK
        lesson.plan(PlannedKey(planned.key, day) for planned in lesson.planned)
        lesson.save(update_fields=["keys"])
    free = Holiday(coming + 3 * WEEK, coming + 5 * WEEK - timedelta(days=1))
    services.add_holiday(rotation, cast.teacher, free, seen=rotation.version)
    return rotation

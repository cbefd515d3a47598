from datetime import date, timedelta

import pytest
from django.utils import timezone

from studio.drills.rotation import access, services
from studio.drills.rotation.lists import lessons_text
from studio.drills.rotation.models import Rotation
from studio.drills.rotation.overview import overview_of
from studio.drills.rotation.plan import proposed
from tests.cast import as_person

SOON = timedelta(days=3)


def soon() -> date:
    """The day of the first lesson in these tests."""
    return timezone.localdate() + SOON


@pytest.fixture
def rotation(cast) -> Rotation:
    """Mira's plan, as it is begun by her teacher."""
    services.begin(cast.enrolment, cast.teacher, soon())
    return access.rotation_of(cast.enrolment)


BEGIN = {
    "every_weeks": "1",
    "lessons": lessons_text(proposed()),
    "rounds": "octaves, across the strings\noctaves, on the two middle strings",
}


def address(cast, tail: str = "") -> str:
    return f"/pupils/{cast.enrolment.pk}/keys/{tail}"


def shown(cast):
    return overview_of(access.rotation_of(cast.enrolment))


def titles(cast, number: int = 1) -> list[str]:
    return [str(place.lesson) for place in shown(cast).rounds[number - 1].open]


def change(cast, tail: str, who=None, **says):
    """Post a change of the plan as it is now."""
    version = Rotation.objects.get(enrolment=cast.enrolment).version
    client = as_person(who or cast.teacher)
    return client.post(address(cast, tail), {"version": version} | says)
